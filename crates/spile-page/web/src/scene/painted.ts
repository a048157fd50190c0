// Painted triangles of a surface, drawn over it. A step of the brush costs what it touches,
// not what is painted already.

import type * as THREE from "three";
import { BufferAttribute } from "three";

import { KEPT } from "./colours";
import { dispose, overlay } from "./surface-mesh";

/** Room for so many triangles to begin with. */
const ROOM = 1024;

/** Triangles that come and go one by one. */
export class Painted {
  /** Drawn over the surface that it was made for. */
  readonly drawn: THREE.Mesh;
  /** The triangles in the order in which they are drawn, and where each is in it. */
  private readonly order: number[] = [];
  private readonly places = new Map<number, number>();

  constructor(private readonly surface: THREE.Mesh) {
    this.drawn = overlay(surface, [], KEPT, 2);
    this.room(ROOM);
  }

  /** How many they are. */
  get count(): number {
    return this.order.length;
  }

  /** All of them. */
  get triangles(): number[] {
    return [...this.order];
  }

  /** These and no others. */
  fill(triangles: ArrayLike<number>): void {
    this.order.length = 0;
    this.places.clear();
    this.add(Array.from(triangles));
  }

  add(triangles: Iterable<number>): void {
    for (const t of triangles) {
      if (this.places.has(t)) continue;
      this.places.set(t, this.order.length);
      this.order.push(t);
      this.put(this.order.length - 1);
    }
    this.changed();
  }

  /** Takes these away; the last takes the place of each. */
  remove(triangles: Iterable<number>): void {
    for (const t of triangles) {
      const place = this.places.get(t);
      if (place === undefined) continue;
      const last = this.order.pop()!;
      this.places.delete(t);
      if (last === t) continue;
      this.order[place] = last;
      this.places.set(last, place);
      this.put(place);
    }
    this.changed();
  }

  dispose(): void {
    dispose(this.drawn);
  }

  private get index(): Uint32Array {
    return this.drawn.geometry.index!.array as Uint32Array;
  }

  /** Writes the corners of the triangle at a place. */
  private put(place: number): void {
    if (3 * (place + 1) > this.index.length) this.room(2 * place);
    const whole = this.surface.geometry.index!.array as Uint32Array;
    const t = 3 * this.order[place]!;
    this.index.set(whole.subarray(t, t + 3), 3 * place);
  }

  private room(count: number): void {
    const larger = new Uint32Array(3 * count);
    larger.set(this.index);
    // What lies with the graphics card is as long as it was.
    this.drawn.geometry.dispose();
    this.drawn.geometry.setIndex(new BufferAttribute(larger, 1));
  }

  private changed(): void {
    this.drawn.geometry.setDrawRange(0, 3 * this.order.length);
    this.drawn.geometry.index!.needsUpdate = true;
  }
}
