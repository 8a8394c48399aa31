// The area to drop a form on. It tells the page's server what was given, and sends it there when it may be taken.
export default {
  template: `
    <label
      class="mp-drop"
      :class="{ 'mp-drop-over': over, 'mp-drop-busy': share !== null }"
      @dragenter.prevent="over = true"
      @dragover.prevent="over = true"
      @dragleave="leave"
      @drop.prevent="drop"
    >
      <input
        ref="input"
        class="mp-drop-input"
        type="file"
        :accept="accept"
        @change="choose"
      />
      <span class="mp-drop-words">Drop a form here, or <span class="mp-drop-choose">choose a file</span></span>
      <span class="mp-drop-note">{{ note }}</span>
      <progress v-if="share !== null" class="mp-drop-bar" max="1" :value="share" aria-label="Sending the form"></progress>
    </label>
  `,
  props: { url: String, suffixes: Array, most: Number, note: String },
  data() {
    return { over: false, share: null };
  },
  computed: {
    // A phone greys out what it has no type for, and it knows few of these: there, any file can be chosen.
    accept() {
      return window.matchMedia("(pointer: fine)").matches ? this.suffixes.join(",") : null;
    },
  },
  mounted() {
    window.addEventListener("dragover", this.ignore);
    window.addEventListener("drop", this.ignore);
  },
  unmounted() {
    window.removeEventListener("dragover", this.ignore);
    window.removeEventListener("drop", this.ignore);
    this.request?.abort();
  },
  methods: {
    // A file dropped beside the area would replace the page.
    ignore(event) {
      event.preventDefault();
    },
    leave(event) {
      if (!event.currentTarget.contains(event.relatedTarget)) this.over = false;
    },
    drop(event) {
      this.over = false;
      this.give([...event.dataTransfer.files]);
    },
    choose(event) {
      const files = [...event.target.files];
      event.target.value = ""; // the same file may be chosen again
      if (files.length) this.give(files);
    },
    give(files) {
      const [file] = files;
      if (!file) this.refuse("none", "", 0);
      else if (files.length > 1) this.refuse("many", file.name, files.length);
      else if (!this.suffixes.some((suffix) => file.name.toLowerCase().endsWith(suffix))) this.refuse("type", file.name, 0);
      else if (file.size > this.most) this.refuse("large", file.name, file.size);
      else this.send(file);
    },
    send(file) {
      this.request?.abort();
      const request = new XMLHttpRequest();
      this.request = request;
      this.share = 0;
      request.upload.onprogress = (event) => (this.share = event.loaded / event.total);
      request.onload = () => request.status < 400 || this.refuse(request.responseText.trim(), file.name, 0);
      request.onerror = () => this.refuse("lost", file.name, 0);
      request.onloadend = () => {
        if (this.request === request) this.share = this.request = null;
      };
      request.open("POST", window.path_prefix + this.url);
      request.setRequestHeader("Content-Type", "application/octet-stream");
      const name = file.name.slice(-200).replace(/[\ud800-\udfff]/gu, "_"); // halves of a sign cannot be encoded
      request.setRequestHeader("X-File-Name", encodeURIComponent(name));
      request.send(file);
    },
    refuse(why, name, count) {
      this.$emit("refused", { why, name, count });
    },
  },
};
