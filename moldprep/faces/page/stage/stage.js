// The stage: light, camera, keys and the rhythm of drawing. What stands on it registers itself when it is added.
//
// Millimetres, z up. Everything else on the scene is a child of the stage and finds it as `parent.userData.stage`.

import { THREE } from "nicegui-scene";

const AZIMUTH = -60; // degrees: seen from the front, a little from one side, as on the sheet
const ELEVATION = 18;
const FILL = 0.92; // share of the canvas that the form may take
const FLIGHT_MS = 700;
const SWING_MS = 4500; // a first slow turn, short enough to need no way to pause it
const SWING_DEG = 50;
const NEAR_SHARE = 0.42; // distance to a place looked at, as a share of the distance to see everything
const DEPTH_SHARE = 0.015; // of the form's size: so near to a place a surface does not hide it
const OUTLINE_PX = 1.2;
const PIXELS = 2; // at most so many for each CSS pixel: more cannot be told apart and costs time

const views = new Map(); // by element: where the eye stood, kept over a lost graphics context

export default class Stage {
  create_mesh(element, bounds, words) {
    this.vue = getElement(element);
    this.element = element;
    this.solids = new Set();
    this.hooks = new Set();
    this.shared = {
      levels: { value: new Float32Array(8) }, // heights of seams
      count: { value: 0 },
      pitch: { value: 4 }, // of dots and stripes, mm
      around: { value: new THREE.Vector3() }, // the axis that stripes wind round, and how many there are
      reach: { value: new THREE.Vector2() }, // of outlines, in halves of the canvas
    };
    this.mesh = new THREE.Group();
    this.mesh.userData.stage = this;
    this.azimuth = words.azimuth ?? AZIMUTH;
    this.dirty = true;
    this.seen = new Float64Array(10);
    this.still = window.matchMedia("(prefers-reduced-motion: reduce)");
    this.show(bounds);
    this.set_light();
    this.set_canvas(words);
    this.set_controls();
    this.set_rhythm();
    return this.mesh;
  }

  // --- told by the page

  show(bounds) {
    const box = new THREE.Box3(new THREE.Vector3(...bounds[0]), new THREE.Vector3(...bounds[1]));
    const known = this.box && !this.box.isEmpty() ? this.box : null;
    this.box = box;
    const size = box.getSize(new THREE.Vector3());
    const pitch = Math.max(size.x, size.y, size.z) / 26;
    const middle = box.getCenter(new THREE.Vector3());
    this.shared.pitch.value = pitch;
    // a multiple of four, so that dots close up too
    this.shared.around.value.set(middle.x, middle.y, 4 * Math.ceil((size.x + size.y) / pitch / 5));
    const moved = known ? known.min.distanceTo(box.min) + known.max.distanceTo(box.max) : Infinity;
    if (moved > 0.05 * size.length() && this.vue.controls) this.whole(known ? FLIGHT_MS : 0);
    this.touch();
  }

  begin() {
    // comes after the scene has set its camera, on the first show and on every later one
    const kept = views.get(this.element);
    this.vue.resize();
    if (kept) {
      this.own = kept.own;
      this.stand(kept.pose);
    } else {
      this.whole(0);
      this.swing = this.still.matches ? null : { from: this.pose() };
    }
    views.set(this.element, (this.view = kept ?? {}));
  }

  whole(duration = FLIGHT_MS) {
    this.own = true; // as long as the visitor has not turned it, the view follows what there is to see
    this.swing = null;
    const pose = { azimuth: this.azimuth, elevation: ELEVATION };
    this.go({ ...pose, ...this.fitted(pose) }, duration);
  }

  // From which side all is seen.
  face(azimuth) {
    this.azimuth = azimuth ?? AZIMUTH;
    this.whole();
  }

  follow() {
    if (this.own && !this.swing) {
      const pose = this.goal ?? this.pose();
      this.go({ ...pose, ...this.fitted(pose) }, 250);
    }
    this.touch();
  }

  turn(azimuth, elevation = 0, zoom = 1) {
    this.took();
    const pose = this.goal ?? this.pose();
    this.go(
      {
        ...pose,
        azimuth: pose.azimuth + azimuth,
        elevation: THREE.MathUtils.clamp(pose.elevation + elevation, -89, 89),
        distance: THREE.MathUtils.clamp(
          pose.distance / zoom,
          this.vue.controls.minDistance,
          this.vue.controls.maxDistance,
        ),
      },
      180,
    );
  }

  fly(x, y, z) {
    this.took();
    const place = new THREE.Vector3(x, y, z);
    const { distance } = this.fitted({ azimuth: this.azimuth, elevation: ELEVATION });
    this.go({ target: place, distance: NEAR_SHARE * distance, ...this.outlook(place, NEAR_SHARE * distance) });
  }

  // --- for what stands on the stage

  add(solid) {
    this.solids.add(solid);
    this.follow();
  }

  remove(solid) {
    this.solids.delete(solid);
    this.follow();
  }

  touch() {
    this.dirty = true;
  }

  // The place on the canvas in CSS pixels, and how far along the line of sight (-1 to 1 is before the eye).
  pixel(place) {
    const at = place.clone().project(this.vue.camera);
    const { clientWidth, clientHeight } = this.vue.$el;
    return { x: ((at.x + 1) / 2) * clientWidth, y: ((1 - at.y) / 2) * clientHeight, z: at.z };
  }

  // Whether anything solid stands between a place and the eye. A place that lies a little within the surface
  // may leave it once.
  hidden(place, eye = this.vue.camera.position) {
    const way = eye.clone().sub(place);
    const length = way.length();
    const hair = DEPTH_SHARE * this.box.getSize(new THREE.Vector3()).length();
    return [...this.solids].some((solid) => solid.blocks(place, way.normalize(), hair, length));
  }

  // --- camera

  // Where the eye stands: target, azimuth and elevation in degrees, distance.
  pose() {
    const { camera, controls } = this.vue;
    const away = camera.position.clone().sub(controls.target);
    const distance = Math.max(away.length(), 1e-6);
    return {
      target: controls.target.clone(),
      azimuth: THREE.MathUtils.radToDeg(Math.atan2(away.y, away.x)),
      elevation: THREE.MathUtils.radToDeg(Math.asin(THREE.MathUtils.clamp(away.z / distance, -1, 1))),
      distance,
    };
  }

  stand({ target, azimuth, elevation, distance }) {
    const { camera, controls } = this.vue;
    controls.target.copy(target);
    camera.position.copy(target).addScaledVector(sight(azimuth, elevation), distance);
    camera.lookAt(target);
    this.vue.look_at.copy(target);
  }

  // Target and distance at which all is in the canvas.
  fitted({ azimuth, elevation }) {
    const target = this.extent().getCenter(new THREE.Vector3());
    const back = sight(azimuth, elevation);
    const right = new THREE.Vector3(0, 0, 1).cross(back).normalize();
    const up = back.clone().cross(right);
    const tall = Math.tan(THREE.MathUtils.degToRad(this.vue.camera.fov) / 2) * FILL;
    const wide = tall * Math.max(this.vue.camera.aspect || 1, 0.1);
    let distance = 0;
    for (const place of this.rim()) {
      const at = place.sub(target);
      const near = at.dot(back);
      distance = Math.max(distance, near + Math.abs(at.dot(right)) / wide, near + Math.abs(at.dot(up)) / tall);
    }
    const { controls } = this.vue;
    controls.minDistance = 0.12 * distance;
    controls.maxDistance = 3 * distance;
    return { target, distance };
  }

  // Places that must be in the canvas: rings round each solid at its ends, which hold at every azimuth, and sheets.
  rim() {
    const sheets = this.sheets ? this.sheets() : [];
    const boxes = this.solids.size ? [...this.solids].map((solid) => solid.box()) : [this.box];
    const rings = boxes.flatMap((box) => {
      const size = box.getSize(new THREE.Vector3());
      const middle = box.getCenter(new THREE.Vector3());
      return [-0.5, 0.5].flatMap((end) =>
        Array.from({ length: 16 }, (_, k) => {
          const turn = (k * Math.PI) / 8;
          const across = [Math.cos(turn) * size.x, Math.sin(turn) * size.y].map((x) => 0.54 * x);
          return middle.clone().add(new THREE.Vector3(...across, end * size.z));
        }),
      );
    });
    return [...rings, ...sheets];
  }

  extent() {
    const box = new THREE.Box3();
    for (const solid of this.solids) box.union(solid.box());
    return box.isEmpty() ? this.box : box;
  }

  // From where a place can be seen: from outside, straight at it if it can be, else the nearest way round.
  outlook(place, distance) {
    const middle = this.extent().getCenter(new THREE.Vector3());
    const out = place.clone().sub(middle);
    const size = this.box.getSize(new THREE.Vector3());
    const level = Math.hypot(out.x, out.y) > 0.03 * Math.max(size.x, size.y);
    const azimuth = level ? THREE.MathUtils.radToDeg(Math.atan2(out.y, out.x)) : this.pose().azimuth;
    const tried = [];
    for (const elevation of [12, -15, 38, -42, 65, -70]) {
      for (const aside of [0, 30, -30, 60, -60, 100, -100, 150, -150]) {
        tried.push({ azimuth: azimuth + aside, elevation, cost: Math.abs(elevation - 12) + Math.abs(aside) });
      }
    }
    tried.sort((a, b) => a.cost - b.cost);
    const clear = (at) => {
      const eye = place.clone().addScaledVector(sight(at.azimuth, at.elevation), distance);
      return !this.hidden(place, eye);
    };
    const { azimuth: turned, elevation } = tried.find(clear) ?? tried[0];
    return { azimuth: turned, elevation };
  }

  go(goal, duration = FLIGHT_MS) {
    if (duration === 0 || this.still.matches) {
      this.flight = this.goal = null;
      this.stand(goal);
    } else {
      const from = this.pose();
      const turn = ((((goal.azimuth - from.azimuth) % 360) + 540) % 360) - 180; // the short way round
      this.goal = goal;
      this.flight = { from, to: { ...goal, azimuth: from.azimuth + turn }, begin: performance.now(), duration };
    }
    this.touch();
  }

  // The visitor took hold: nothing moves by itself any more.
  took() {
    this.own = false;
    this.swing = null;
  }

  // --- set up once

  set_light() {
    const { scene } = this.vue;
    scene.children.filter((child) => child.isLight).forEach((light) => light.removeFromParent());
    const sky = new THREE.HemisphereLight(0xffffff, 0xe9dfd0, 0.62 * Math.PI);
    sky.position.set(0, 0, 1);
    this.key = new THREE.DirectionalLight(0xffffff, 0.52 * Math.PI);
    this.mesh.add(sky, this.key, this.key.target);
  }

  set_canvas(words) {
    const { renderer, $el } = this.vue;
    const canvas = renderer.domElement;
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, PIXELS));
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "application");
    canvas.setAttribute("aria-label", words.label);
    $el.children[3].textContent = words.lost;
    $el.children[3].className = "form-scene-lost";
    canvas.addEventListener("keydown", (event) => this.key_down(event));
    const size = new ResizeObserver(() => {
      if (!$el.isConnected) return size.disconnect();
      if (!$el.clientWidth) return; // in a tab that is not shown
      this.vue.resize();
      if (this.own && !this.swing) this.whole(0);
      this.touch();
    });
    size.observe($el);
  }

  set_controls() {
    const { renderer, controls } = this.vue;
    const canvas = renderer.domElement;
    controls.enableDamping = !this.still.matches;
    controls.dampingFactor = 0.15;
    controls.zoomSpeed = 1.5;
    controls.addEventListener("start", () => {
      this.flight = this.goal = null;
      this.took();
    });
    // the wheel scrolls the page until the visitor takes hold of the view; one finger scrolls it up and down
    controls.enableZoom = false;
    canvas.addEventListener("pointerdown", () => {
      canvas.focus({ preventScroll: true });
      controls.enableZoom = true;
    });
    canvas.addEventListener("focus", () => (controls.enableZoom = true));
    canvas.addEventListener("blur", () => (controls.enableZoom = false));
    canvas.style.touchAction = "pan-y";
  }

  // Draws only when something has changed: a view at rest costs nothing.
  set_rhythm() {
    const { renderer, $el } = this.vue;
    const draw = renderer.render.bind(renderer);
    renderer.render = (scene, camera) => {
      if (!$el.isConnected || !$el.clientWidth) return;
      this.step(performance.now());
      if (!this.changed()) return;
      this.hooks.forEach((hook) => hook());
      this.dirty = false;
      draw(scene, camera);
    };
  }

  step(now) {
    const { camera, controls } = this.vue;
    if (this.flight) {
      const { from, to, begin, duration } = this.flight;
      const t = Math.min((now - begin) / duration, 1);
      const share = t * t * (3 - 2 * t);
      this.stand({
        target: from.target.clone().lerp(to.target, share),
        azimuth: THREE.MathUtils.lerp(from.azimuth, to.azimuth, share),
        elevation: THREE.MathUtils.lerp(from.elevation, to.elevation, share),
        distance: from.distance * (to.distance / from.distance) ** share,
      });
      if (t === 1) this.flight = this.goal = null;
    } else if (this.swing && this.solids.size) {
      this.swing.begin ??= now;
      const t = Math.min((now - this.swing.begin) / SWING_MS, 1);
      const pose = { azimuth: this.azimuth - SWING_DEG * (1 - t) ** 3, elevation: ELEVATION };
      this.stand({ ...pose, ...this.fitted(pose) });
      if (t === 1) this.swing = null;
    }
    if (this.view) Object.assign(this.view, { pose: this.pose(), own: this.own });
    const distance = camera.position.distanceTo(controls.target);
    const reach = this.extent().getSize(new THREE.Vector3()).length();
    camera.near = Math.max(distance - reach, 0.02 * distance);
    camera.far = distance + 2 * reach;
    camera.updateProjectionMatrix();
    const { clientWidth, clientHeight } = this.vue.$el;
    this.shared.reach.value.set((2 * OUTLINE_PX) / clientWidth, (2 * OUTLINE_PX) / clientHeight);
    // the lamp stands over the visitor's left shoulder
    const [right, up] = [0, 1].map((axis) => new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, axis));
    this.key.target.position.copy(controls.target);
    this.key.position.copy(camera.position).addScaledVector(right, -0.55 * distance);
    this.key.position.addScaledVector(up, 0.5 * distance);
  }

  changed() {
    const { camera, renderer } = this.vue;
    const now = [
      ...camera.position.toArray(),
      ...camera.quaternion.toArray(),
      camera.aspect,
      renderer.domElement.width,
      renderer.domElement.height,
    ];
    const moved = now.some((value, k) => Math.abs(value - this.seen[k]) > 1e-7);
    this.seen.set(now);
    return moved || this.dirty;
  }

  key_down(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const turns = {
      ArrowLeft: () => this.turn(-10),
      ArrowRight: () => this.turn(10),
      ArrowUp: () => this.turn(0, 8),
      ArrowDown: () => this.turn(0, -8),
      "+": () => this.turn(0, 0, 1.2),
      "=": () => this.turn(0, 0, 1.2),
      "-": () => this.turn(0, 0, 1 / 1.2),
      Home: () => this.whole(),
    };
    if (!turns[event.key]) return;
    event.preventDefault();
    turns[event.key]();
  }
}

// The direction from a target to an eye at an azimuth and elevation, degrees.
function sight(azimuth, elevation) {
  const [turn, tilt] = [azimuth, elevation].map(THREE.MathUtils.degToRad);
  return new THREE.Vector3(Math.cos(tilt) * Math.cos(turn), Math.cos(tilt) * Math.sin(turn), Math.sin(tilt));
}
