// A solid of a binary glTF file, matt, in millimetres and z up. Classes carry dots and stripes besides their
// colours, and the seams are drawn on the surface where their planes meet it.

import { CSS2DObject, GLTFLoader, THREE } from "nicegui-scene";

const TEXTURES = { free: 0, tight: 1, locked: 2 }; // by the names of the nodes: plain, dark dots, pale stripes

const VARYINGS = "varying vec3 vSpot;\nvarying vec3 vFacing;\n";
const SPOT = `
  vSpot = (modelMatrix * vec4(transformed, 1.0)).xyz;
  vFacing = mat3(modelMatrix) * objectNormal;
`;
const UNIFORMS = `
uniform int texture_kind;
uniform float pitch;
uniform vec3 around;
uniform float levels[8];
uniform int count;
uniform vec3 seam_ink;
`;
// Patterns wind round the axis on walls and lie flat on level faces, so that they keep their size everywhere.
const PAINT = `
  vec3 facing = abs(normalize(vFacing));
  bool flat_face = facing.z > 0.75;
  vec2 out_there = vSpot.xy - around.xy;
  float turn = atan(out_there.y, out_there.x) / 6.2831853 * around.z;
  vec2 spot = flat_face ? out_there / pitch : vec2(turn, vSpot.z / pitch);
  float blur = length(fwidth(vSpot)) / pitch;
  float sharp = 1.0 - smoothstep(0.25, 0.7, blur); // far away the pattern fades into its colour
  if (texture_kind == 1) {
    vec2 cell = spot * 1.25;
    cell.x += 0.5 * mod(floor(cell.y), 2.0);
    float away = length(fract(cell) - 0.5);
    float spotted = 1.0 - smoothstep(0.21 - blur, 0.21 + blur, away);
    diffuseColor.rgb = mix(diffuseColor.rgb, diffuseColor.rgb * 0.28, spotted * sharp);
  } else if (texture_kind == 2) {
    float across = abs(fract(spot.x + spot.y) - 0.5);
    float stripe = 1.0 - smoothstep(0.13 - blur, 0.13 + blur, across);
    diffuseColor.rgb = mix(diffuseColor.rgb, diffuseColor.rgb * 0.45 + 0.36, stripe * sharp);
  }
  float thick = fwidth(vSpot.z);
  for (int k = 0; k < 8; k++) {
    if (k >= count) break;
    float off = abs(vSpot.z - levels[k]);
    float line = 1.0 - smoothstep(0.8 * thick, 1.8 * thick + 1e-4, off);
    diffuseColor.rgb = mix(diffuseColor.rgb, seam_ink, facing.z > 0.98 ? 0.0 : line);
  }
`;

// The far side of a solid, drawn a little wider than the solid itself: what looks out is its outline.
const OUTLINE = {
  vertexShader: `
    uniform vec2 reach;
    void main() {
      gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
      vec2 out_there = (projectionMatrix * vec4(normalMatrix * normal, 0.0)).xy / reach;
      gl_Position.xy += out_there / max(length(out_there), 1e-6) * reach * gl_Position.w;
    }`,
  fragmentShader: `
    uniform vec3 ink;
    void main() {
      gl_FragColor = vec4(ink, 1.0);
      #include <colorspace_fragment>
    }`,
};

export default class Solid {
  async create_mesh(url, look) {
    this.look = look; // { seams, part: { letter, name, tint, apart } | null, at: [x, y, z], instead: [ids] }
    const { scene } = await new GLTFLoader().loadAsync(url);
    const upright = new THREE.Group();
    upright.rotation.x = Math.PI / 2;
    upright.scale.setScalar(1000);
    upright.add(scene);
    this.mesh = new THREE.Group();
    this.mesh.add(upright);
    this.mesh.updateMatrixWorld(true);
    this.bounds = new THREE.Box3().setFromObject(upright);
    this.faces = [];
    upright.traverse((child) => child.isMesh && this.faces.push(child));
    this.corners = corners(this.faces);
    this.mesh.position.set(...look.at); // from the first frame, so that the view is fitted to where it stands
    this.mesh.addEventListener("added", () => this.enter(this.mesh.parent.userData.stage));
    this.mesh.addEventListener("removed", () => this.leave());
    return this.mesh;
  }

  // Opacity alone: the colour is the file's.
  apply_material({ opacity }) {
    this.opacity = opacity;
    this.faces.forEach((face) => this.see_through(face));
    this.stage?.touch();
  }

  // --- for the stage

  box() {
    return this.bounds.clone().translate(this.mesh.position);
  }

  // Whether a ray meets the solid, from either side, between two distances; what is seen through does not count.
  blocks(from, way, near, far) {
    return (this.opacity ?? 1) > 0.95 && meets(this.corners, from.clone().sub(this.mesh.position), way, near, far);
  }

  // ---

  enter(stage) {
    this.stage = stage;
    this.faces.forEach((face) => {
      face.material = matt(face.material.color, TEXTURES[face.name] ?? 0, this.look.seams ? stage.shared : null);
      face.userData.outline = new THREE.Mesh(face.geometry, outline(stage.shared.reach));
      face.add(face.userData.outline);
      this.see_through(face);
    });
    if (this.look.part?.letter) this.set_letter(this.look.part);
    this.hook = () => this.before_drawing();
    stage.hooks.add(this.hook);
    stage.add(this);
    this.look.instead.forEach((id) => stage.vue.delete(id)); // what it replaces stood there while it loaded
  }

  leave() {
    this.letter?.element.remove(); // the scene takes away only what hangs on it directly
    this.faces.forEach((face) => {
      face.geometry.dispose();
      face.material.dispose();
      face.userData.depth?.material.dispose();
      face.userData.outline?.material.dispose();
    });
    this.stage?.hooks.delete(this.hook);
    this.stage?.remove(this);
  }

  // Only the nearest surface of a solid is seen through, not all that lie behind each other: its depth is drawn first.
  see_through(face) {
    const opacity = this.opacity ?? 1;
    const clear = opacity < 1;
    face.material.transparent = clear;
    face.material.opacity = opacity;
    face.material.needsUpdate = true;
    if (clear && !face.userData.depth) {
      const depth = new THREE.Mesh(face.geometry, new THREE.MeshBasicMaterial({ colorWrite: false, transparent: true }));
      face.userData.depth = depth;
      face.add(depth);
    }
    if (face.userData.depth) face.userData.depth.visible = clear;
    if (face.userData.outline) face.userData.outline.material.transparent = clear; // then drawn after the depth
  }

  before_drawing() {
    const { camera } = this.stage.vue;
    const middle = this.box().getCenter(new THREE.Vector3());
    const order = 10000 - Math.round(middle.distanceTo(camera.position)) * 2; // far solids first
    this.faces.forEach((face) => {
      face.renderOrder = order + 1;
      face.userData.outline.renderOrder = order + 1;
      if (face.userData.depth) face.userData.depth.renderOrder = order;
    });
    if (this.letter) {
      const away = this.out.dot(camera.position.clone().sub(middle)) < -1e-6;
      this.letter.element.firstChild.classList.toggle("form-scene-behind", away);
    }
  }

  set_letter({ letter, name, tint, apart }) {
    const place = document.createElement("div");
    const label = document.createElement("span");
    label.className = "form-scene-letter";
    label.style.background = tint;
    label.textContent = letter;
    label.title = name;
    place.append(label);
    this.letter = new CSS2DObject(place);
    // on the side to which the part is drawn, if it is drawn to a side
    const half = this.bounds.getSize(new THREE.Vector3()).multiplyScalar(0.5);
    this.out = new THREE.Vector3(apart[0], apart[1], 0);
    if (this.out.length() > 0) this.out.normalize().multiply(half);
    this.letter.position.copy(this.bounds.getCenter(new THREE.Vector3())).add(this.out);
    this.mesh.add(this.letter);
  }
}

// Nine numbers for each triangle, as the meshes stand now.
function corners(meshes) {
  const count = meshes.reduce((sum, { geometry }) => sum + geometry.index.count, 0);
  const found = new Float32Array(3 * count);
  const place = new THREE.Vector3();
  let at = 0;
  for (const { geometry, matrixWorld } of meshes) {
    for (let k = 0; k < geometry.index.count; k++, at += 3) {
      place.fromBufferAttribute(geometry.attributes.position, geometry.index.getX(k)).applyMatrix4(matrixWorld);
      place.toArray(found, at);
    }
  }
  return found;
}

// Triangle by triangle (Möller and Trumbore 1997), in plain numbers: ten times faster than three's raycaster.
function meets(t, { x: ox, y: oy, z: oz }, { x: dx, y: dy, z: dz }, near, far) {
  for (let k = 0; k < t.length; k += 9) {
    const ux = t[k + 3] - t[k];
    const uy = t[k + 4] - t[k + 1];
    const uz = t[k + 5] - t[k + 2];
    const vx = t[k + 6] - t[k];
    const vy = t[k + 7] - t[k + 1];
    const vz = t[k + 8] - t[k + 2];
    const px = dy * vz - dz * vy;
    const py = dz * vx - dx * vz;
    const pz = dx * vy - dy * vx;
    const det = ux * px + uy * py + uz * pz;
    if (det === 0) continue;
    const sx = ox - t[k];
    const sy = oy - t[k + 1];
    const sz = oz - t[k + 2];
    const u = (sx * px + sy * py + sz * pz) / det;
    if (u < 0 || u > 1) continue;
    const qx = sy * uz - sz * uy;
    const qy = sz * ux - sx * uz;
    const qz = sx * uy - sy * ux;
    const v = (dx * qx + dy * qy + dz * qz) / det;
    if (v < 0 || u + v > 1) continue;
    const distance = (vx * qx + vy * qy + vz * qz) / det;
    if (distance > near && distance < far) return true;
  }
  return false;
}

function outline(reach) {
  const uniforms = { reach, ink: { value: new THREE.Color("#3a302a") } };
  return new THREE.ShaderMaterial({ ...OUTLINE, uniforms, side: THREE.BackSide });
}

// Matt clay of a colour in linear light.
function matt(color, kind, shared) {
  const material = new THREE.MeshLambertMaterial({ color });
  material.onBeforeCompile = (shader) => {
    Object.assign(shader.uniforms, {
      texture_kind: { value: kind },
      pitch: shared?.pitch ?? { value: 1 },
      around: shared?.around ?? { value: new THREE.Vector3(0, 0, 4) },
      levels: shared?.levels ?? { value: new Float32Array(8) },
      count: shared?.count ?? { value: 0 },
      seam_ink: { value: new THREE.Color("#8a2f3c") },
    });
    shader.vertexShader =
      VARYINGS + shader.vertexShader.replace("#include <begin_vertex>", `#include <begin_vertex>${SPOT}`);
    shader.fragmentShader =
      VARYINGS + UNIFORMS + shader.fragmentShader.replace("#include <color_fragment>", `#include <color_fragment>${PAINT}`);
  };
  return material;
}
