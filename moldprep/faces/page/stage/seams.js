// Level seam planes: a thin sheet with a rim each, moved by a handle at its edge. The handle is an element of its
// own beside the canvas, so that moving it never turns the view.

import { CSS2DObject, THREE } from "nicegui-scene";

const INK = "#8a2f3c";
const WIDER = 1.2; // than the form
const ROUND = 0.55; // of the narrower half: no corner of a square form looks out
const EVERY_MS = 50; // heights are told so often while a plane moves
const GAP_MM = 1; // planes keep their order

export default class Seams {
  create_mesh(heights, most, bounds, inches) {
    this.mesh = new THREE.Group();
    this.planes = [];
    this.mesh.addEventListener("added", () => this.enter(this.mesh.parent.userData.stage));
    this.mesh.addEventListener("removed", () => this.leave());
    this.wanted = [heights, most, bounds, inches];
    return this.mesh;
  }

  show(heights, most, bounds, inches) {
    this.wanted = [heights, most, bounds, inches];
    if (!this.stage) return;
    const outline = JSON.stringify(bounds);
    if (outline !== this.outline || heights.length !== this.planes.length) {
      this.clear();
      this.outline = outline;
      this.planes = heights.map((height, k) => this.plane(k, bounds));
    }
    Object.assign(this, { most, inches });
    heights.forEach((height, k) => k !== this.held?.k && this.put(k, height));
    this.stage.follow();
  }

  move(k, height) {
    if (k !== this.held?.k && this.planes[k]) this.put(k, height);
  }

  // ---

  enter(stage) {
    this.stage = stage;
    this.hook = () => this.place_handles();
    stage.hooks.add(this.hook);
    stage.sheets = () =>
      this.planes.flatMap(({ points, height }) => points.map((p) => new THREE.Vector3(p.x, p.y, height ?? 0)));
    this.show(...this.wanted);
  }

  leave() {
    this.planes.forEach(({ handle }) => handle.element.remove()); // the scene takes away only what hangs on it directly
    this.clear();
    this.stage?.hooks.delete(this.hook);
  }

  clear() {
    this.held = null;
    this.planes.forEach(({ group, handle }) => {
      handle.removeFromParent();
      group.removeFromParent();
      group.traverse((child) => {
        child.geometry?.dispose();
        child.material?.dispose();
      });
    });
    this.planes = [];
    this.tell_shared();
  }

  put(k, height) {
    const plane = this.planes[k];
    plane.height = height;
    plane.group.position.z = height;
    plane.text.textContent = this.inches ? `${(height / 25.4).toFixed(2)} in` : `${height.toFixed(1)} mm`;
    this.tell_shared();
  }

  tell_shared() {
    if (!this.stage) return;
    const { levels, count } = this.stage.shared;
    this.planes.slice(0, 8).forEach((plane, k) => (levels.value[k] = plane.height ?? 0));
    count.value = Math.min(this.planes.length, 8);
    this.stage.touch();
  }

  plane(k, [low, high]) {
    const [x, y] = [0, 1].map((axis) => (low[axis] + high[axis]) / 2);
    const span = Math.max(high[0] - low[0], high[1] - low[1], high[2] - low[2]);
    const margin = ((WIDER - 1) / 2) * span; // alike on all sides
    const half = [0, 1].map((axis) => (high[axis] - low[axis]) / 2 + margin);
    const points = rounded(half[0], half[1], ROUND * Math.min(...half)).map((p) => new THREE.Vector2(p.x + x, p.y + y));
    const sheet = new THREE.Mesh(
      new THREE.ShapeGeometry(new THREE.Shape(points)),
      new THREE.MeshBasicMaterial({
        color: INK,
        transparent: true,
        opacity: 0.13,
        side: THREE.DoubleSide,
        depthWrite: false,
      }),
    );
    sheet.renderOrder = 30000; // over solids that are seen through
    const curve = new THREE.CatmullRomCurve3(points.map((p) => new THREE.Vector3(p.x, p.y, 0)), true);
    const rim = new THREE.Mesh(
      new THREE.TubeGeometry(curve, 4 * points.length, 0.0035 * span, 6, true),
      new THREE.MeshBasicMaterial({ color: INK }),
    );
    const group = new THREE.Group();
    group.add(sheet, rim);
    this.mesh.add(group);
    const made = { k, group, points, ...this.handle(k) };
    this.mesh.add(made.handle);
    return made;
  }

  handle(k) {
    const place = document.createElement("div");
    const grip = document.createElement("div");
    grip.className = "form-scene-grip";
    grip.setAttribute("aria-hidden", "true"); // a slider beside the view is the keyboard's way
    const text = document.createElement("span");
    grip.append("↕ ", text);
    place.append(grip);
    grip.addEventListener("pointerdown", (event) => this.take(k, event));
    grip.addEventListener("pointermove", (event) => this.drag(k, event));
    for (const end of ["pointerup", "pointercancel"]) grip.addEventListener(end, () => this.let_go(k));
    return { handle: new CSS2DObject(place), grip, text };
  }

  // At the edge of the sheet that the eye has to its right, to its left for every other plane; kept in the canvas.
  place_handles() {
    const { camera, $el } = this.stage.vue;
    const right = new THREE.Vector3().setFromMatrixColumn(camera.matrixWorld, 0);
    this.planes.forEach((plane) => {
      if (this.held?.k === plane.k) {
        plane.handle.position.z = plane.height;
      } else {
        const side = plane.k % 2 ? -1 : 1;
        const along = (p) => side * (right.x * p.x + right.y * p.y);
        const edge = plane.points.reduce((best, p) => (along(p) > along(best) ? p : best));
        plane.handle.position.set(edge.x, edge.y, plane.height);
      }
      const at = this.stage.pixel(plane.handle.position);
      const [w, h] = [plane.grip.offsetWidth / 2 + 4, plane.grip.offsetHeight / 2 + 4];
      const x = THREE.MathUtils.clamp(at.x, w, $el.clientWidth - w) - at.x;
      const y = THREE.MathUtils.clamp(at.y, h, $el.clientHeight - h) - at.y;
      plane.grip.style.transform = `translate(-50%, -50%) translate(${x}px, ${y}px)`;
    });
  }

  take(k, event) {
    if (event.button !== 0) return;
    event.preventDefault();
    this.stage.took();
    this.stage.flight = this.stage.goal = null;
    const { handle, height, grip } = this.planes[k];
    grip.setPointerCapture(event.pointerId);
    grip.classList.add("form-scene-held");
    this.held = { k, foot: handle.position.clone().setZ(0), told: 0 };
    this.held.offset = height - this.height_under(event);
  }

  drag(k, event) {
    if (this.held?.k !== k) return;
    const below = k > 0 ? this.planes[k - 1].height + GAP_MM : 0;
    const above = k + 1 < this.planes.length ? this.planes[k + 1].height - GAP_MM : this.most;
    const hair = 1e-3 * this.most; // a plane lies within the form, not on its ends
    const height = THREE.MathUtils.clamp(
      this.height_under(event) + this.held.offset,
      Math.max(below, hair),
      Math.min(above, this.most - hair),
    );
    this.put(k, height);
    const now = performance.now();
    if (now - this.held.told >= EVERY_MS) {
      this.held.told = now;
      this.tell(k, false);
    }
  }

  let_go(k) {
    if (this.held?.k !== k) return;
    this.held = null;
    this.planes[k].grip.classList.remove("form-scene-held");
    this.tell(k, true);
    this.stage.touch();
  }

  tell(k, done) {
    this.stage.vue.$emit("seam", { plane: k, height: this.planes[k].height, done });
  }

  // The height on the upright line through the handle that is nearest to the line of sight through the pointer.
  height_under(event) {
    const { camera, $el } = this.stage.vue;
    const frame = $el.getBoundingClientRect();
    const x = ((event.clientX - frame.left) / frame.width) * 2 - 1;
    const y = 1 - ((event.clientY - frame.top) / frame.height) * 2;
    const ray = new THREE.Raycaster();
    ray.setFromCamera(new THREE.Vector2(x, y), camera);
    const { origin, direction } = ray.ray;
    const away = this.held.foot.clone().sub(origin);
    // looking almost straight down, heights cannot be told: they then follow slowly
    return (direction.z * direction.dot(away) - away.z) / Math.max(1 - direction.z ** 2, 0.06);
  }
}

// Points of a rounded rectangle about the origin, counter-clockwise.
function rounded(x, y, radius) {
  const found = [];
  for (let quarter = 0; quarter < 4; quarter++) {
    const [sx, sy] = [[1, 1], [-1, 1], [-1, -1], [1, -1]][quarter];
    for (let step = 0; step <= 8; step++) {
      const turn = ((quarter + step / 8) * Math.PI) / 2;
      found.push({ x: sx * (x - radius) + radius * Math.cos(turn), y: sy * (y - radius) + radius * Math.sin(turn) });
    }
  }
  return found;
}
