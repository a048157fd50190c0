// The picture: surfaces, marks on them, and a camera that flies to places.

import * as THREE from "three";
import { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";
import { acceleratedRaycast, MeshBVH } from "three-mesh-bvh";

import { REGIONS, type Surface } from "../api/surface";
import type { Triple } from "../state/values";
import { GROUND, MARK, PLANNED, REGION_COLOURS, SCAN } from "./colours";

/** A tube that would be joined. */
export interface Tube {
  at: Triple;
  along: Triple;
  bore: number;
  outside: number;
  length: number;
}

/** What is drawn beside the surfaces. */
export interface Marks {
  /** Places with their number in the list. */
  places: { at: Triple; size: number; label: string }[];
  /** Planes, each a disc. */
  planes: { at: Triple; facing: Triple; radius: number }[];
  tubes: Tube[];
  balls: { at: Triple; radius: number }[];
}

const vector = ([x, y, z]: Triple): THREE.Vector3 => new THREE.Vector3(x, y, z);

/** The picture in `host`, which it fills. */
export class Scene {
  private readonly renderer: THREE.WebGLRenderer;
  private readonly world = new THREE.Scene();
  private readonly camera = new THREE.PerspectiveCamera(35, 1, 0.1, 1000);
  private readonly controls: OrbitControls;
  private readonly surfaces: Record<"scan" | "part", THREE.Group> = {
    scan: new THREE.Group(),
    part: new THREE.Group(),
  };
  private readonly marks = new THREE.Group();
  private readonly labels: HTMLElement;
  private labelled: { element: HTMLElement; at: THREE.Vector3 }[] = [];
  private flight: { from: THREE.Vector3[]; to: THREE.Vector3[]; begun: number } | null = null;
  private isDue = false;
  /** Called with the place that was pointed at. */
  onPick: ((at: Triple, normal: Triple) => void) | null = null;

  constructor(private readonly host: HTMLElement) {
    this.renderer = new THREE.WebGLRenderer({ antialias: true });
    this.labels = document.createElement("div");
    this.labels.className = "labels";
    this.labels.ariaHidden = "true";
    const canvas = this.renderer.domElement;
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "img");
    host.append(canvas, this.labels);
    this.world.add(this.surfaces.scan, this.surfaces.part, this.marks);
    const lamp = new THREE.DirectionalLight(0xffffff, 2.2);
    lamp.position.set(-0.5, 0.8, 1);
    this.camera.add(lamp);
    this.world.add(this.camera, new THREE.HemisphereLight(0xffffff, 0x8a8a8a, 1.4));
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.addEventListener("change", () => this.draw());
    canvas.addEventListener("keydown", (event) => this.turn(event));
    this.pickOnClick(canvas);
    new ResizeObserver(() => this.fit()).observe(host);
    const night = matchMedia("(prefers-color-scheme: dark)");
    night.addEventListener("change", () => this.ground(night.matches));
    this.ground(night.matches);
  }

  /** Puts a surface in place of the one of that name, or takes it away. */
  set(which: "scan" | "part", surface: Surface | null): void {
    const group = this.surfaces[which];
    const isFirst = this.surfaces.scan.children.length + this.surfaces.part.children.length === 0;
    for (const child of group.children) dispose(child);
    group.clear();
    if (surface) {
      group.add(mesh(surface));
      if (isFirst) this.all();
    }
    this.host.dataset[which] = surface ? String(surface.triangles.length / 3) : "0";
    this.draw();
  }

  /** How much of the part is shown in place of the scan: 0 none, 1 all of it. */
  blend(share: number): void {
    const hasPart = this.surfaces.part.children.length > 0;
    const part = hasPart ? share : 0;
    fade(this.surfaces.part, part);
    fade(this.surfaces.scan, 1 - part);
    this.draw();
  }

  /** Draws these marks in place of the earlier ones. */
  mark({ places, planes, tubes, balls }: Marks): void {
    for (const child of this.marks.children) dispose(child);
    this.marks.clear();
    this.labels.replaceChildren();
    this.labelled = [];
    for (const { at, size, label } of places) {
      const element = document.createElement("span");
      element.textContent = label;
      this.labels.append(element);
      this.labelled.push({ element, at: vector(at) });
      const ring = new THREE.Mesh(
        new THREE.TorusGeometry(size, size / 14, 6, 32),
        new THREE.MeshBasicMaterial({ color: MARK, depthTest: false }),
      );
      ring.position.copy(vector(at));
      ring.userData.facesCamera = true;
      this.marks.add(ring);
    }
    for (const { at, facing, radius } of planes) {
      const disc = new THREE.Mesh(
        new THREE.CircleGeometry(radius, 64),
        new THREE.MeshBasicMaterial({ color: MARK, side: THREE.DoubleSide, transparent: true, opacity: 0.35, depthWrite: false }),
      );
      disc.position.copy(vector(at));
      disc.quaternion.setFromUnitVectors(new THREE.Vector3(0, 0, 1), vector(facing).normalize());
      this.marks.add(disc);
    }
    for (const tube of tubes) this.marks.add(planned(tube));
    for (const { at, radius } of balls) {
      const ball = new THREE.Mesh(
        new THREE.SphereGeometry(radius, 32, 16),
        new THREE.MeshBasicMaterial({ color: PLANNED, transparent: true, opacity: 0.3, depthWrite: false }),
      );
      ball.position.copy(vector(at));
      this.marks.add(ball);
    }
    this.draw();
  }

  /** Looks at everything from where it is. */
  all(): void {
    const box = new THREE.Box3();
    for (const group of [...Object.values(this.surfaces), this.marks]) box.expandByObject(group);
    if (box.isEmpty()) return;
    const ball = box.getBoundingSphere(new THREE.Sphere());
    const out = this.camera.position.clone().sub(this.controls.target);
    if (out.lengthSq() < 1e-12) out.set(0.6, -1, 0.25);
    if (!this.flight && this.host.dataset.looksAt === undefined) out.set(0.6, -1, 0.25);
    this.camera.up.set(0, 0, 1);
    this.fly(ball.center, out.normalize(), ball.radius);
  }

  /** Looks at a place of about this size, square to its surface where that is known. */
  place(at: Triple, size: number, normal?: Triple): void {
    const out = normal
      ? vector(normal).normalize()
      : this.camera.position.clone().sub(this.controls.target).normalize();
    this.fly(vector(at), out, size);
  }

  private fly(to: THREE.Vector3, out: THREE.Vector3, radius: number): void {
    const away = (1.15 * radius) / Math.sin((this.camera.fov * Math.PI) / 360);
    this.camera.near = away / 100;
    this.camera.far = Math.max(away * 20, 4 * this.reach());
    this.camera.updateProjectionMatrix();
    const end = to.clone().addScaledVector(out, away);
    this.host.dataset.looksAt = to.toArray().map((x) => x.toFixed(3)).join(" ");
    const from = [this.camera.position.clone(), this.controls.target.clone()];
    const isStill = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.flight = { from, to: [end, to], begun: isStill ? -1e9 : performance.now() };
    this.draw();
  }

  private reach(): number {
    const box = new THREE.Box3();
    for (const group of Object.values(this.surfaces)) box.expandByObject(group);
    return box.isEmpty() ? 1 : box.getSize(new THREE.Vector3()).length();
  }

  private turn(event: KeyboardEvent): void {
    const steps: Record<string, [number, number, number]> = {
      ArrowLeft: [-0.12, 0, 1], ArrowRight: [0.12, 0, 1], ArrowUp: [0, -0.12, 1], ArrowDown: [0, 0.12, 1],
      "+": [0, 0, 0.87], "-": [0, 0, 1.15],
    };
    const step = steps[event.key];
    if (!step) return;
    event.preventDefault();
    const out = this.camera.position.clone().sub(this.controls.target);
    const ball = new THREE.Spherical().setFromVector3(new THREE.Vector3(out.x, out.z, -out.y));
    ball.theta += step[0];
    ball.phi = Math.min(3.1, Math.max(0.04, ball.phi + step[1]));
    ball.radius *= step[2];
    const turned = new THREE.Vector3().setFromSpherical(ball);
    this.camera.position.copy(this.controls.target).add(new THREE.Vector3(turned.x, -turned.z, turned.y));
    this.draw();
  }

  private pickOnClick(canvas: HTMLCanvasElement): void {
    let down: [number, number] = [0, 0];
    canvas.addEventListener("pointerdown", (event) => (down = [event.clientX, event.clientY]));
    canvas.addEventListener("pointerup", (event) => {
      if (Math.hypot(event.clientX - down[0], event.clientY - down[1]) > 4) return;
      const hit = this.pick(event.clientX, event.clientY);
      if (hit) this.onPick?.(hit.at, hit.normal);
    });
  }

  /** The nearest shown surface under a place of the window. */
  pick(x: number, y: number): { at: Triple; normal: Triple } | null {
    const frame = this.renderer.domElement.getBoundingClientRect();
    const place = new THREE.Vector2(
      (2 * (x - frame.left)) / frame.width - 1,
      1 - (2 * (y - frame.top)) / frame.height,
    );
    const ray = new THREE.Raycaster();
    ray.firstHitOnly = true;
    ray.setFromCamera(place, this.camera);
    const shown = Object.values(this.surfaces).filter((group) => group.visible);
    const hit = ray.intersectObjects(shown, true)[0];
    if (!hit?.face) return null;
    const { x: a, y: b, z: c } = hit.face.normal;
    return { at: hit.point.toArray() as Triple, normal: [a, b, c] };
  }

  private ground(isDark: boolean): void {
    this.world.background = new THREE.Color(isDark ? GROUND.dark : GROUND.light);
    this.draw();
  }

  private fit(): void {
    const { clientWidth, clientHeight } = this.host;
    if (clientWidth === 0 || clientHeight === 0) return;
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    this.renderer.setSize(clientWidth, clientHeight);
    this.camera.aspect = clientWidth / clientHeight;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  /** Draws once, soon; nothing is drawn while nothing changes. */
  private draw(): void {
    if (this.isDue) return;
    this.isDue = true;
    requestAnimationFrame((now) => {
      this.isDue = false;
      this.step(now);
      for (const mark of this.marks.children) {
        if (mark.userData.facesCamera) mark.quaternion.copy(this.camera.quaternion);
      }
      this.renderer.render(this.world, this.camera);
      this.putLabels();
    });
  }

  private step(now: number): void {
    if (!this.flight) return;
    const { from, to, begun } = this.flight;
    const t = Math.min(1, (now - begun) / 350);
    const eased = t * t * (3 - 2 * t);
    this.camera.position.lerpVectors(from[0]!, to[0]!, eased);
    this.controls.target.lerpVectors(from[1]!, to[1]!, eased);
    if (t >= 1) this.flight = null;
    this.controls.update();
    this.draw();
  }

  private putLabels(): void {
    const { clientWidth, clientHeight } = this.host;
    for (const { element, at } of this.labelled) {
      const p = at.clone().project(this.camera);
      element.hidden = p.z > 1;
      element.style.transform = `translate(${((p.x + 1) / 2) * clientWidth}px, ${((1 - p.y) / 2) * clientHeight}px)`;
    }
  }
}

/** A surface with its search tree, one run of triangles a region. */
function mesh(surface: Surface): THREE.Mesh {
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", new THREE.BufferAttribute(surface.points, 3));
  const materials = (surface.regions ? REGION_COLOURS : [SCAN]).map(
    (color) => new THREE.MeshLambertMaterial({ color, side: THREE.DoubleSide }),
  );
  if (!surface.regions) {
    geometry.setIndex(new THREE.BufferAttribute(surface.triangles.slice(), 1));
    geometry.addGroup(0, surface.triangles.length, 0);
  } else {
    const sorted = new Uint32Array(surface.triangles.length);
    let filled = 0;
    for (let region = 0; region < REGIONS.length; region++) {
      const begun = filled;
      surface.regions.forEach((r, t) => {
        if (r !== region) return;
        sorted.set(surface.triangles.subarray(3 * t, 3 * t + 3), filled);
        filled += 3;
      });
      if (filled > begun) geometry.addGroup(begun, filled - begun, region);
    }
    geometry.setIndex(new THREE.BufferAttribute(sorted, 1));
  }
  geometry.computeVertexNormals();
  const made = new THREE.Mesh(geometry, materials);
  // The tree keeps the order of triangles by region: it has an index of its own.
  geometry.boundsTree = new MeshBVH(geometry, { indirect: true });
  made.raycast = acceleratedRaycast;
  return made;
}

function planned({ at, along, bore, outside, length }: Tube): THREE.Object3D {
  const profile = [
    [bore / 2, 0], [outside / 2, 0], [outside / 2, length], [bore / 2, length], [bore / 2, 0],
  ].map(([r, h]) => new THREE.Vector2(r, h));
  const tube = new THREE.Mesh(
    new THREE.LatheGeometry(profile, 64),
    new THREE.MeshLambertMaterial({ color: PLANNED, transparent: true, opacity: 0.45, side: THREE.DoubleSide }),
  );
  tube.position.copy(vector(at));
  tube.quaternion.setFromUnitVectors(new THREE.Vector3(0, 1, 0), vector(along).normalize());
  return tube;
}

function fade(group: THREE.Group, share: number): void {
  group.visible = share > 0;
  group.traverse((child) => {
    if (!(child instanceof THREE.Mesh)) return;
    for (const material of [child.material].flat() as THREE.Material[]) {
      material.transparent = share < 1;
      material.opacity = share;
      material.depthWrite = share >= 0.5;
    }
  });
}

function dispose(object: THREE.Object3D): void {
  object.traverse((child) => {
    if (!(child instanceof THREE.Mesh)) return;
    child.geometry.dispose();
    for (const material of [child.material].flat() as THREE.Material[]) material.dispose();
  });
}
