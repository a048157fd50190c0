// The picture: surfaces, marks on them, and a camera that flies to places.

import * as THREE from "three";
import { OrbitControls } from "three/examples/jsm/controls/OrbitControls.js";

import type { Surface } from "../api/surface";
import type { Triple } from "../state/values";
import { type Colours, PAGE_COLOURS, type Range } from "../ui/scale";
import { touched } from "./brush";
import { coarse, isLarge, whenFinished } from "./coarse";
import { GROUND, REACHED, REGION_COLOURS } from "./colours";
import { Handles, type Held, vector } from "./handles";
import { Labels } from "./labels";
import { fill, type Label, type Marks } from "./marks";
import { Painted } from "./painted";
import { colour, dispose, drawn, drawnAside, edges, fade, growTree, overlay, treeOf } from "./surface-mesh";

export type { Held } from "./handles";
export type { Marks } from "./marks";

/** What the pointer does: turns and points, or paints. */
export interface Brush {
  radius: number;
  isErasing: boolean;
}

/** How the picture looks, and what it is called. */
export interface Look {
  /** For those who do not see it. */
  label: string;
  /** What stands behind everything, by day and by night. */
  ground: { light: number; dark: number };
  /** A colour a region. */
  regions: readonly number[];
  /** What may be run beside the page to make search trees. */
  aside: string | null;
}

/** As the page has it. */
const PAGE_LOOK: Look = { label: "scan and part in space; the arrow keys turn them", ground: GROUND, regions: REGION_COLOURS, aside: "page.js" };

/** What the picture tells. */
export interface Heard {
  /** A surface was pointed at: where, how it faces, and the points of the triangle there. */
  onPick: (at: Triple, normal: Triple, corners: Triple) => void;
  /** A stroke of the brush has ended: all that is painted now. */
  onPainted: (triangles: number[]) => void;
  /** The surfaces are simplified for a moment, or no longer. */
  onCoarse: (isCoarse: boolean) => void;
  /** What is held by a knob is somewhere else; at last with `isDone`. */
  onMoved: (id: string, at: Triple, along: Triple, isDone: boolean) => void;
}

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
  private readonly labels = new Labels();
  private markLabels: Label[] = [];
  private readonly handles = new Handles();
  /** What is painted on the scan; none without a scan. */
  private painted: Painted | null = null;
  private readonly overlays = new THREE.Group();
  private brush: Brush | null = null;
  private isStroking = false;
  /** Nobody has chosen a view, and what is planned was not seen yet. */
  private isFirstView = false;
  private edged = false;
  private opened: THREE.Plane | null = null;
  private flight: { from: THREE.Vector3[]; to: THREE.Vector3[]; begun: number } | null = null;
  private isDue = false;
  /** What is drawn in place of large surfaces at first. */
  private readonly coarse = new Map<"scan" | "part", THREE.Mesh>();
  /** Who is told. */
  heard: Heard | null = null;

  constructor(private readonly host: HTMLElement, private readonly look: Look = PAGE_LOOK) {
    this.renderer = new THREE.WebGLRenderer({ antialias: true });
    this.renderer.localClippingEnabled = true;
    const canvas = this.renderer.domElement;
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", look.label);
    host.append(canvas, this.labels.element);
    this.world.add(this.surfaces.scan, this.surfaces.part, this.overlays, this.marks, this.handles.group);
    const lamp = new THREE.DirectionalLight(0xffffff, 2.2);
    lamp.position.set(-0.5, 0.8, 1);
    this.camera.add(lamp);
    this.world.add(this.camera, new THREE.HemisphereLight(0xffffff, 0x8a8a8a, 1.4));
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.addEventListener("change", () => this.draw());
    this.controls.addEventListener("start", () => (this.isFirstView = false));
    canvas.addEventListener("keydown", (event) => this.turn(event));
    this.follow(canvas);
    new ResizeObserver(() => this.fit()).observe(host);
    const night = matchMedia("(prefers-color-scheme: dark)");
    night.addEventListener("change", () => this.ground(night.matches));
    this.ground(night.matches);
    this.warmUp();
  }

  /** Has the graphics make ready what surfaces are drawn with, while the first is on its way. */
  private warmUp(): void {
    const one = drawn({ points: new Float32Array(9), triangles: Uint32Array.of(0, 1, 2), regions: null }, []);
    one.frustumCulled = false;
    this.world.add(one);
    this.afterPicture(() => {
      one.removeFromParent();
      dispose(one);
    });
  }

  /**
   * Puts a surface in place of the one of that name, or takes it away. A large one is drawn
   * simplified first; `isThere` is called once it is there whole.
   */
  set(which: "scan" | "part", surface: Surface | null, isThere: () => void = () => undefined): void {
    const group = this.surfaces[which];
    const isFirst = this.surfaces.scan.children.length + this.surfaces.part.children.length === 0;
    for (const child of group.children) dispose(child);
    group.clear();
    if (this.coarse.delete(which) && this.coarse.size === 0) this.heard?.onCoarse(false);
    if (surface && isLarge(surface)) {
      const first = drawn(coarse(surface) ?? surface, this.look.regions);
      this.have(which, null);
      this.coarse.set(which, first);
      group.add(first);
      this.heard?.onCoarse(true);
      this.see(isFirst);
      const seen = new Promise<void>((resolve) => this.afterPicture(resolve));
      // For those who time it.
      void seen.then(() => performance.mark("first picture"));
      void Promise.all([drawnAside(surface, this.look.regions), seen]).then(([whole]) => {
        // Another has come meanwhile.
        if (this.coarse.get(which) !== first) {
          dispose(whole);
          return isThere();
        }
        whole.visible = false;
        group.remove(first).add(whole, first);
        this.have(which, surface);
        isThere();
        // What follows of that it is there changes how it is drawn: it is drawn once, with all of it.
        settled(() => this.reveal(which, whole, first));
      });
      return;
    }
    if (surface) {
      group.add(drawn(surface, this.look.regions));
      this.see(isFirst);
    }
    this.have(which, surface);
    isThere();
  }

  /** Shows the whole in place of the simplified. */
  private reveal(which: "scan" | "part", whole: THREE.Mesh, first: THREE.Mesh): void {
    if (this.coarse.get(which) !== first) return;
    dispose(first);
    first.removeFromParent();
    whole.visible = true;
    this.coarse.delete(which);
    if (this.coarse.size === 0) this.heard?.onCoarse(false);
    this.afterPicture(() => performance.mark("whole picture"));
  }

  /** Looks at what is there now, where it is the first. */
  private see(isFirst: boolean): void {
    if (isFirst && this.host.dataset.looksAt === undefined) {
      this.all();
      this.isFirstView = true;
    }
    // Who has chosen a view before there was anything to see keeps it.
    else if (isFirst) this.reachTo(this.camera.position.distanceTo(this.controls.target));
  }

  /** What goes with a surface follows it. */
  private have(which: "scan" | "part", surface: Surface | null): void {
    if (which === "scan") {
      const scan = this.meshOf("scan");
      this.overlays.clear();
      this.painted?.dispose();
      this.painted = scan ? new Painted(scan) : null;
      if (this.painted) this.overlays.add(this.painted.drawn);
      this.reach([]);
      this.tellPainted();
    }
    this.drawEdges();
    this.clip();
    this.host.dataset[which] = surface ? String(surface.triangles.length / 3) : "0";
    this.draw();
  }

  /** Draws, and does something once that picture is finished. */
  private afterPicture(then: () => void): void {
    this.draw();
    requestAnimationFrame(() => whenFinished(this.renderer.getContext() as WebGL2RenderingContext, then));
  }

  /** How much of the part is shown in place of the scan: 0 none, 1 all of it. */
  blend(share: number): void {
    const hasPart = this.surfaces.part.children.length > 0;
    const part = hasPart ? share : 0;
    fade(this.surfaces.part, part);
    fade(this.surfaces.scan, 1 - part);
    this.overlays.visible = part < 0.5;
    this.draw();
  }

  /** Draws these marks in place of the earlier ones. */
  mark(marks: Marks): void {
    this.markLabels = fill(this.marks, marks);
    if (this.isFirstView && marks.tubes.length > 0) this.all();
    this.label();
    this.clip();
    this.draw();
  }

  /** Has knobs on these. */
  hold(held: Held[]): void {
    this.handles.show(held);
    this.label();
    this.draw();
  }

  private label(): void {
    this.labels.show(this.markLabels, this.handles.words);
  }

  /** Paints with this brush instead of turning; null turns again. */
  paintWith(brush: Brush | null): void {
    this.brush = brush;
    this.controls.enableRotate = !brush;
    this.host.classList.toggle("paints", brush !== null);
  }

  /** Shows these triangles of the scan as kept; not while the brush is on it, which tells of all at its end. */
  paint(triangles: ArrayLike<number>): void {
    if (this.isStroking) return;
    this.painted?.fill(triangles);
    this.tellPainted();
  }

  private tellPainted(): void {
    this.host.dataset.painted = String(this.painted?.count ?? 0);
    this.draw();
  }

  /** Shows these triangles of the scan as within reach. */
  reach(triangles: ArrayLike<number>): void {
    for (const child of this.overlays.children.filter((child) => child !== this.painted?.drawn)) {
      dispose(child);
      this.overlays.remove(child);
    }
    const scan = this.meshOf("scan");
    this.host.dataset.reached = String(scan ? triangles.length : 0);
    if (scan && triangles.length > 0) this.overlays.add(overlay(scan, triangles, REACHED, 1));
    this.clip();
    this.draw();
  }

  /** Colours the part by a value a point, or by its regions. */
  colour(map: Float32Array | null, range: Range, of: Colours = PAGE_COLOURS): void {
    const part = this.meshOf("part");
    if (!part) return;
    const points = part.geometry.getAttribute("position").count;
    const isFit = map?.length === points;
    colour(part, isFit ? map : null, range, of);
    this.host.dataset.map = isFit ? `${range.from} ${range.to}` : "";
    this.draw();
  }

  /** Shows the edges of triangles, or not. */
  edge(isOn: boolean): void {
    this.edged = isOn;
    this.drawEdges();
    this.draw();
  }

  private drawEdges(): void {
    for (const which of ["scan", "part"] as const) {
      const mesh = this.meshOf(which);
      const there = mesh?.children[0];
      if (there && !this.edged) {
        dispose(there);
        mesh.clear();
      }
      if (mesh && !there && this.edged) mesh.add(edges(mesh));
    }
    this.clip();
  }

  /** Takes away what lies on the side of a plane that it faces; null shows all. */
  open(plane: { through: Triple; facing: Triple } | null): void {
    this.opened = plane
      ? new THREE.Plane().setFromNormalAndCoplanarPoint(vector(plane.facing).normalize().negate(), vector(plane.through))
      : null;
    this.host.dataset.open = plane ? plane.through.map((x) => x.toFixed(3)).join(" ") : "";
    this.clip();
    this.draw();
  }

  private clip(): void {
    const planes = this.opened ? [this.opened] : null;
    for (const group of [...Object.values(this.surfaces), this.overlays]) {
      group.traverse((child) => {
        if (!(child instanceof THREE.Mesh || child instanceof THREE.LineSegments)) return;
        for (const material of [child.material].flat() as THREE.Material[]) material.clippingPlanes = planes;
      });
    }
  }

  private meshOf(which: "scan" | "part"): THREE.Mesh | undefined {
    const mesh = this.surfaces[which].children[0] as THREE.Mesh | undefined;
    return mesh === this.coarse.get(which) ? undefined : mesh;
  }

  /** Looks at everything from a side, so that none of it hides behind the rest. */
  all(): void {
    const box = new THREE.Box3();
    for (const group of [...Object.values(this.surfaces), this.marks]) box.expandByObject(group);
    if (box.isEmpty()) return;
    const ball = box.getBoundingSphere(new THREE.Sphere());
    const out = new THREE.Vector3(0.6, -1, 0.25);
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
    this.isFirstView = false;
    const away = (1.15 * radius) / Math.sin((this.camera.fov * Math.PI) / 360);
    this.reachTo(away);
    const end = to.clone().addScaledVector(out, away);
    this.host.dataset.looksAt = to.toArray().map((x) => x.toFixed(3)).join(" ");
    const from = [this.camera.position.clone(), this.controls.target.clone()];
    const isStill = matchMedia("(prefers-reduced-motion: reduce)").matches;
    this.flight = { from, to: [end, to], begun: isStill ? -1e9 : performance.now() };
    this.draw();
  }

  /** What is drawn reaches from close by to behind everything. */
  private reachTo(away: number): void {
    this.camera.near = away / 100;
    this.camera.far = Math.max(away * 20, 4 * this.extent());
    this.camera.updateProjectionMatrix();
  }

  private extent(): number {
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
    if (event.key === "Enter" || event.key === " ") {
      // By keyboard the middle of the picture is what is pointed at.
      event.preventDefault();
      const frame = this.renderer.domElement.getBoundingClientRect();
      const middle: [number, number] = [frame.left + frame.width / 2, frame.top + frame.height / 2];
      if (!this.brush) this.pointAt(...middle);
      else if (this.stroke(...middle)) this.heard?.onPainted(this.painted?.triangles ?? []);
      return;
    }
    if (!step) return;
    this.isFirstView = false;
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

  private follow(canvas: HTMLCanvasElement): void {
    let down: [number, number] = [0, 0];
    let does: "turns" | "holds" | "paints" = "turns";
    const first = { capture: true };
    canvas.addEventListener("pointerdown", (event) => {
      down = [event.clientX, event.clientY];
      const isLeft = event.button === 0;
      if (isLeft && this.handles.take(this.rayAt(...down))) does = "holds";
      else if (isLeft && this.brush && this.stroke(...down)) does = "paints";
      else return;
      this.isStroking = does === "paints";
      this.controls.enabled = false;
      canvas.setPointerCapture(event.pointerId);
    }, first);
    canvas.addEventListener("pointermove", (event) => {
      // A fast hand leaves no gaps: the browser tells of all its places at once.
      if (does === "paints") for (const { clientX, clientY } of event.getCoalescedEvents()) this.stroke(clientX, clientY);
      if (does === "holds") this.move(event.clientX, event.clientY, false);
    }, first);
    const up = (event: PointerEvent) => {
      const [did, isStill] = [does, Math.hypot(event.clientX - down[0], event.clientY - down[1]) <= 4];
      does = "turns";
      this.isStroking = false;
      this.controls.enabled = true;
      if (did === "paints") this.heard?.onPainted(this.painted?.triangles ?? []);
      if (did === "holds") {
        if (!isStill) this.move(event.clientX, event.clientY, true);
        this.handles.drop();
      }
      if (did === "turns" && isStill && event.type === "pointerup") this.pointAt(event.clientX, event.clientY);
    };
    canvas.addEventListener("pointerup", up);
    canvas.addEventListener("pointercancel", up);
  }

  private pointAt(x: number, y: number): void {
    const hit = this.pick(x, y);
    if (hit) this.heard?.onPick(hit.at, hit.normal, hit.corners);
  }

  private move(x: number, y: number, isDone: boolean): void {
    const to = this.handles.moved(this.rayAt(x, y));
    if (to) this.heard?.onMoved(to.id, to.at, to.along, isDone);
  }

  /** One step of the brush at a place of the window; whether it met the scan. */
  stroke(x: number, y: number): boolean {
    const scan = this.meshOf("scan");
    if (scan) treeOf(scan);
    const hit = this.brush && scan ? this.rayAt(x, y).intersectObject(scan, false)[0] : undefined;
    if (!hit?.face || !this.brush || !scan) return false;
    const now = new Set<number>();
    touched(scan, hit.point, hit.face.normal, this.brush.radius, now);
    if (this.brush.isErasing) this.painted?.remove(now);
    else this.painted?.add(now);
    this.tellPainted();
    return true;
  }

  private rayAt(x: number, y: number): THREE.Raycaster {
    const frame = this.renderer.domElement.getBoundingClientRect();
    const place = new THREE.Vector2(
      (2 * (x - frame.left)) / frame.width - 1,
      1 - (2 * (y - frame.top)) / frame.height,
    );
    const ray = new THREE.Raycaster();
    ray.firstHitOnly = true;
    ray.setFromCamera(place, this.camera);
    return ray;
  }

  /** The nearest shown surface under a place of the window. */
  pick(x: number, y: number): { at: Triple; normal: Triple; corners: Triple } | null {
    const ray = this.rayAt(x, y);
    const shown = Object.entries(this.surfaces).filter(([, group]) => group.visible);
    const meshes = shown.flatMap(([which]) => this.meshOf(which as "scan" | "part") ?? []);
    ray.firstHitOnly = !this.opened;
    const hits = ray.intersectObjects(meshes, false);
    const hit = hits.find(({ point }) => !this.opened || this.opened.distanceToPoint(point) >= 0);
    if (!hit?.face) return null;
    const { a, b, c, normal } = hit.face;
    return { at: hit.point.toArray() as Triple, normal: normal.toArray() as Triple, corners: [a, b, c] };
  }

  private ground(isDark: boolean): void {
    this.world.background = new THREE.Color(isDark ? this.look.ground.dark : this.look.ground.light);
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
      // What the step itself moves is drawn with it.
      this.step(now);
      this.isDue = false;
      if (this.flight) this.draw();
      for (const mark of this.marks.children) {
        if (mark.userData.facesCamera) mark.quaternion.copy(this.camera.quaternion);
      }
      this.renderer.render(this.world, this.camera);
      this.host.dataset.eye = this.camera.position.toArray().map((x) => x.toFixed(3)).join(" ");
      this.labels.put(this.camera, this.host.clientWidth, this.host.clientHeight);
      // Whoever sees the picture will point at it soon.
      if (this.coarse.size === 0) setTimeout(() => (["scan", "part"] as const).forEach((which) => {
        const mesh = this.meshOf(which);
        if (mesh) growTree(mesh, this.look.aside);
      }));
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
  }
}

/** Does something once what follows of a change is done: it comes after a frame, and may ask for one more. */
function settled(then: () => void): void {
  const frames = (left: number): void => {
    if (left === 0) then();
    else requestAnimationFrame(() => setTimeout(() => frames(left - 1)));
  };
  frames(2);
}
