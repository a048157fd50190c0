// A surface as three draws it: with its search tree, its regions, and maps on it.

import * as THREE from "three";
import { acceleratedRaycast, type MeshBVH } from "three-mesh-bvh";

import type { Surface } from "../api/surface";
import { colourOf, type Colours, type Range } from "../ui/scale";
import { SCAN } from "./colours";
import { grown, grownAside } from "./trees";

/** A surface, one run of triangles a region, each in its colour. */
export function drawn(surface: Surface, regionColours: readonly number[]): THREE.Mesh {
  const slices = inSlices(surface, regionColours, surface.triangles.length + 1);
  for (;;) {
    const { done, value } = slices.next();
    if (done) return value;
  }
}

/** The same of a large surface, bit by bit, so that the page goes on meanwhile. */
export async function drawnAside(surface: Surface, regionColours: readonly number[]): Promise<THREE.Mesh> {
  const slices = inSlices(surface, regionColours, SLICE);
  for (;;) {
    const { done, value } = slices.next();
    if (done) return value;
    await new Promise((resolve) => setTimeout(resolve));
  }
}

/** Triangles, or points, that are worked on in one go: some ten milliseconds. */
const SLICE = 150_000;

function* inSlices(surface: Surface, regionColours: readonly number[], slice: number): Generator<void, THREE.Mesh> {
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", new THREE.BufferAttribute(surface.points, 3));
  const materials = (surface.regions ? regionColours : [SCAN]).map(lit);
  const { index, counts } = surface.regions
    ? byRegion(surface.triangles, surface.regions, regionColours.length)
    : { index: surface.triangles.slice(), counts: [surface.triangles.length / 3] };
  geometry.setIndex(new THREE.BufferAttribute(index, 1));
  let begun = 0;
  counts.forEach((count, region) => {
    if (count > 0) geometry.addGroup(begun, 3 * count, region);
    begun += 3 * count;
  });
  yield;
  geometry.setAttribute("normal", new THREE.BufferAttribute(yield* normals(surface, slice), 3));
  const made = new THREE.Mesh(geometry, materials);
  made.userData.colours = materials.map((material) => material.color.getHex());
  made.raycast = acceleratedRaycast;
  return made;
}

/** What a surface is drawn with. */
const lit = (color: number): THREE.MeshLambertMaterial => new THREE.MeshLambertMaterial({ color, side: THREE.DoubleSide });

/** Triangles region after region, in their order, and how many each has. */
function byRegion(triangles: Uint32Array, regions: Uint8Array, count: number): { index: Uint32Array; counts: number[] } {
  const counts = new Array<number>(count).fill(0);
  for (const region of regions) if (region < count) counts[region]! += 1;
  const places: number[] = [];
  counts.reduce((sum, n, k) => ((places[k] = sum), sum + n), 0);
  const index = new Uint32Array(3 * counts.reduce((sum, n) => sum + n, 0));
  for (let t = 0; t < regions.length; t++) {
    const region = regions[t]!;
    if (region >= count) continue;
    const at = 3 * places[region]!;
    places[region]! += 1;
    index[at] = triangles[3 * t]!, index[at + 1] = triangles[3 * t + 1]!, index[at + 2] = triangles[3 * t + 2]!;
  }
  return { index, counts };
}

/** The way that the surface faces at each point: the mean of its triangles there, by area. */
function* normals({ points, triangles }: Surface, slice: number): Generator<void, Float32Array> {
  const sums = new Float32Array(points.length);
  for (let from = 0; from < triangles.length; from += 3 * slice) {
    addNormals(points, triangles, from, Math.min(triangles.length, from + 3 * slice), sums);
    yield;
  }
  for (let from = 0; from < sums.length; from += 3 * slice) {
    normalise(sums, from, Math.min(sums.length, from + 3 * slice));
    yield;
  }
  return sums;
}

function addNormals(points: Float32Array, triangles: Uint32Array, from: number, to: number, sums: Float32Array): void {
  for (let t = from; t < to; t += 3) {
    const a = 3 * triangles[t]!, b = 3 * triangles[t + 1]!, c = 3 * triangles[t + 2]!;
    const ux = points[b]! - points[a]!, uy = points[b + 1]! - points[a + 1]!, uz = points[b + 2]! - points[a + 2]!;
    const vx = points[c]! - points[a]!, vy = points[c + 1]! - points[a + 1]!, vz = points[c + 2]! - points[a + 2]!;
    const nx = uy * vz - uz * vy, ny = uz * vx - ux * vz, nz = ux * vy - uy * vx;
    sums[a]! += nx, sums[a + 1]! += ny, sums[a + 2]! += nz;
    sums[b]! += nx, sums[b + 1]! += ny, sums[b + 2]! += nz;
    sums[c]! += nx, sums[c + 1]! += ny, sums[c + 2]! += nz;
  }
}

function normalise(sums: Float32Array, from: number, to: number): void {
  for (let v = from; v < to; v += 3) {
    const length = Math.sqrt(sums[v]! ** 2 + sums[v + 1]! ** 2 + sums[v + 2]! ** 2) || 1;
    sums[v]! /= length, sums[v + 1]! /= length, sums[v + 2]! /= length;
  }
}

/** The surface's search tree, if need be made at once. */
export function treeOf({ geometry }: THREE.Mesh): MeshBVH {
  const tree = (geometry.boundsTree as MeshBVH | undefined) ?? grown(geometry);
  geometry.boundsTree = tree;
  return tree;
}

/** Has the tree made, once: of a large surface by `script` beside the page, where there is one. */
export function growTree(mesh: THREE.Mesh, script: string | null): void {
  const { geometry } = mesh;
  if (geometry.boundsTree || mesh.userData.isGrowing) return;
  mesh.userData.isGrowing = true;
  const aside = script ? grownAside(geometry, script) : null;
  if (!aside) return void treeOf(mesh);
  aside.then((tree) => (geometry.boundsTree ??= tree), () => treeOf(mesh));
}

/** Colours a surface by a value a point; null gives it its regions' colours again. */
export function colour(mesh: THREE.Mesh, map: Float32Array | null, range: Range, of: Colours): void {
  const materials = [mesh.material].flat() as THREE.MeshLambertMaterial[];
  const own = mesh.userData.colours as number[];
  materials.forEach((material, region) => {
    material.vertexColors = map !== null;
    material.color.set(map ? 0xffffff : own[region] ?? SCAN);
    material.needsUpdate = true;
  });
  if (!map) {
    mesh.geometry.deleteAttribute("color");
    return;
  }
  const colours = new Float32Array(3 * map.length);
  const made = new THREE.Color();
  map.forEach((value, k) => {
    const [r, g, b] = colourOf(value, range, of);
    made.setRGB(r, g, b, THREE.SRGBColorSpace).toArray(colours, 3 * k);
  });
  mesh.geometry.setAttribute("color", new THREE.BufferAttribute(colours, 3));
}

/** Some triangles of a surface over it, in one colour; they share its points. */
export function overlay(mesh: THREE.Mesh, triangles: ArrayLike<number>, color: number, before: number): THREE.Mesh {
  const whole = mesh.geometry.index!.array as Uint32Array;
  const index = new Uint32Array(3 * triangles.length);
  for (let i = 0; i < triangles.length; i++) {
    const t = 3 * triangles[i]!;
    index[3 * i] = whole[t]!;
    index[3 * i + 1] = whole[t + 1]!;
    index[3 * i + 2] = whole[t + 2]!;
  }
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", mesh.geometry.getAttribute("position"));
  geometry.setAttribute("normal", mesh.geometry.getAttribute("normal"));
  geometry.setIndex(new THREE.BufferAttribute(index, 1));
  const material = new THREE.MeshLambertMaterial({
    color, side: THREE.DoubleSide, polygonOffset: true, polygonOffsetFactor: -before, polygonOffsetUnits: -before,
  });
  const made = new THREE.Mesh(geometry, material);
  made.raycast = () => undefined;
  return made;
}

/** The edges of a surface's triangles. */
export function edges(mesh: THREE.Mesh): THREE.LineSegments {
  const index = mesh.geometry.index!.array as Uint32Array;
  const lines: number[] = [];
  // Each edge from its lesser point; where a surface is closed that is each once.
  for (let t = 0; t < index.length; t += 3) {
    for (let k = 0; k < 3; k++) {
      const [a, b] = [index[t + k]!, index[t + ((k + 1) % 3)]!];
      if (a < b) lines.push(a, b);
    }
  }
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", mesh.geometry.getAttribute("position"));
  geometry.setIndex(new THREE.BufferAttribute(new Uint32Array(lines), 1));
  const made = new THREE.LineSegments(geometry, new THREE.LineBasicMaterial({ color: 0x20262d, transparent: true, opacity: 0.55 }));
  made.raycast = () => undefined;
  return made;
}

/** Fades all of a group. */
export function fade(group: THREE.Group, share: number): void {
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

/** Gives back what a drawn thing holds. */
export function dispose(object: THREE.Object3D): void {
  object.traverse((child) => {
    if (!(child instanceof THREE.Mesh || child instanceof THREE.LineSegments || child instanceof THREE.Line)) return;
    child.geometry.dispose();
    for (const material of [child.material].flat() as THREE.Material[]) material.dispose();
  });
}
