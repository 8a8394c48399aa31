// Numbered marks beside the places that they name, on lines that leave the places free; they keep apart.

import { CSS2DObject, THREE } from "nicegui-scene";

const AWAY = 34; // pixels from the place to its number
const APART = 30; // least distance between two numbers, pixels
const EDGE = 16;
const ROUNDS = 12;

export default class Marks {
  create_mesh(places, words) {
    this.mesh = new THREE.Group();
    this.marks = places.map(([number, at]) => this.mark(number, new THREE.Vector3(...at), words));
    this.marks.forEach((mark) => this.mesh.add(mark.label));
    this.next = 0;
    this.left = this.marks.length;
    this.mesh.addEventListener("added", () => this.enter(this.mesh.parent.userData.stage));
    this.mesh.addEventListener("removed", () => this.leave());
    return this.mesh;
  }

  enter(stage) {
    this.stage = stage;
    this.hook = () => {
      this.lay_out();
      this.left = this.marks.length; // the view has changed: all are to be looked at again
    };
    stage.hooks.add(this.hook);
    this.timer = setInterval(() => this.look(), 40);
    stage.touch();
  }

  leave() {
    clearInterval(this.timer);
    this.stage?.hooks.delete(this.hook);
    this.marks.forEach((mark) => mark.label.element.remove());
  }

  mark(number, at, words) {
    const place = document.createElement("div");
    place.className = "form-scene-mark";
    place.innerHTML = "<i></i><b></b>"; // the line and the place's dot
    const button = document.createElement("button");
    button.type = "button";
    button.tabIndex = -1; // the list beside the view is the keyboard's way
    button.textContent = number;
    button.setAttribute("aria-label", words.place.replace("{}", number));
    button.addEventListener("click", () => {
      this.stage.fly(at.x, at.y, at.z);
      this.stage.vue.$emit("mark", { number });
    });
    place.append(button);
    const label = new CSS2DObject(place);
    label.position.copy(at);
    return { at, label, button, line: place.firstChild };
  }

  // Numbers lie outward from the middle of the form on the screen and push each other apart.
  lay_out() {
    const { clientWidth, clientHeight } = this.stage.vue.$el;
    const middle = this.stage.pixel(this.stage.extent().getCenter(new THREE.Vector3()));
    const spots = this.marks.map(({ at }) => this.stage.pixel(at));
    const ends = spots.map((spot) => {
      const [x, y] = [spot.x - middle.x, spot.y - middle.y];
      const length = Math.hypot(x, y);
      return length > 4
        ? { x: spot.x + (AWAY * x) / length, y: spot.y + (AWAY * y) / length }
        : { x: spot.x + AWAY, y: spot.y };
    });
    for (let round = 0; round < ROUNDS; round++) {
      for (let a = 0; a < ends.length; a++) {
        for (let b = 0; b < a; b++) push(ends[a], ends[b], APART, 0.5);
        for (const spot of spots) push(ends[a], spot, 22, 0);
      }
    }
    this.marks.forEach(({ button, line }, k) => {
      const x = THREE.MathUtils.clamp(ends[k].x, EDGE, clientWidth - EDGE) - spots[k].x;
      const y = THREE.MathUtils.clamp(ends[k].y, EDGE, clientHeight - EDGE) - spots[k].y;
      button.style.transform = `translate(-50%, -50%) translate(${x}px, ${y}px)`;
      line.style.width = `${Math.hypot(x, y)}px`;
      line.style.transform = `rotate(${Math.atan2(y, x)}rad)`;
    });
  }

  // Whether a place lies behind the form, one place at a time: each look asks all triangles.
  look() {
    if (!this.left || !this.marks.length || !this.stage.vue.$el.isConnected) return;
    const { at, label } = this.marks[this.next];
    label.element.classList.toggle("form-scene-behind", this.stage.hidden(at));
    this.next = (this.next + 1) % this.marks.length;
    this.left -= 1;
  }
}

// Moves two points apart to at least `least`; `share` of the way falls to the other.
function push(one, other, least, share) {
  let [x, y] = [one.x - other.x, one.y - other.y];
  const length = Math.hypot(x, y);
  if (length >= least) return;
  if (length < 1e-3) [x, y] = [0, 1];
  const move = (least - length) / Math.max(length, 1);
  one.x += (1 - share) * x * move;
  one.y += (1 - share) * y * move;
  other.x -= share * x * move;
  other.y -= share * y * move;
}
