// Knobs in the picture: by them a fitting or a cut is slid, moved aside and tilted.

import * as THREE from "three";

import type { Triple } from "../state/values";
import { KNOB } from "./colours";

/** Something with a place and a direction that knobs move. */
export interface Held {
  /** Tells it from others. */
  id: string;
  at: Triple;
  along: Triple;
  /** How large it is: knobs stand off by this much. */
  size: number;
  /** What its knobs do, each with the word that stands by it. */
  knobs: readonly (readonly [Knob, string])[];
  /** Its knobs stand off against its direction. */
  isInward?: boolean;
}

/** Along its direction, square to it, or turned about its place. */
export type Knob = "along" | "aside" | "tilt";

export const vector = ([x, y, z]: Triple): THREE.Vector3 => new THREE.Vector3(x, y, z);
const triple = (v: THREE.Vector3): Triple => [v.x, v.y, v.z];

/** The knobs of what is held, and what dragging one does. */
export class Handles {
  readonly group = new THREE.Group();
  private held: Held[] = [];
  private dragged: { held: Held; knob: Knob; from: THREE.Vector3 } | null = null;

  /** Where a knob's word stands. */
  get words(): { text: string; at: THREE.Vector3 }[] {
    return this.group.children.map((knob) => ({ text: knob.userData.word as string, at: knob.position }));
  }

  /** Shows the knobs of these in place of the earlier ones. */
  show(held: Held[]): void {
    this.held = held;
    this.group.clear();
    for (const one of held) {
      for (const [knob, word] of one.knobs) {
        const ball = new THREE.Mesh(BALL, MATERIAL);
        ball.position.copy(placeOf(one, knob));
        ball.scale.setScalar(one.size / 11);
        ball.renderOrder = 2;
        ball.userData = { id: one.id, knob, word };
        this.group.add(ball);
      }
    }
  }

  /** Takes a knob under the ray in hand. */
  take(ray: THREE.Raycaster): boolean {
    const hit = ray.intersectObjects(this.group.children, false)[0];
    const held = this.held.find(({ id }) => id === hit?.object.userData.id);
    if (!hit || !held) return false;
    this.dragged = { held, knob: hit.object.userData.knob as Knob, from: hit.object.position.clone() };
    return true;
  }

  /** Where the thing in hand would be with the pointer on this ray. */
  moved({ ray }: THREE.Raycaster): { id: string; at: Triple; along: Triple } | null {
    if (!this.dragged) return null;
    const { held, knob, from } = this.dragged;
    const [at, along] = [vector(held.at), vector(held.along).normalize()];
    const stay = { id: held.id, at: held.at, along: triple(along) };
    if (knob === "along") {
      // The point of the axis that is nearest the ray.
      const between = ray.origin.clone().sub(from);
      const cos = along.dot(ray.direction);
      if (1 - cos * cos < 1e-6) return stay;
      const by = (between.dot(along) - cos * between.dot(ray.direction)) / (1 - cos * cos);
      return { ...stay, at: triple(at.addScaledVector(along, by)) };
    }
    if (knob === "aside") {
      const met = ray.intersectPlane(new THREE.Plane().setFromNormalAndCoplanarPoint(along, from), new THREE.Vector3());
      return met ? { ...stay, at: triple(at.add(met).sub(from)) } : stay;
    }
    const far = from.distanceTo(at);
    const met = ray.intersectSphere(new THREE.Sphere(at, far), new THREE.Vector3())
      ?? ray.closestPointToPoint(at, new THREE.Vector3());
    const way = met.sub(at).multiplyScalar(held.isInward ? -1 : 1);
    return way.lengthSq() > 0 ? { ...stay, along: triple(way.normalize()) } : stay;
  }

  /** Lets go. */
  drop(): void {
    this.dragged = null;
  }
}

const BALL = new THREE.SphereGeometry(1, 20, 12);
const MATERIAL = new THREE.MeshBasicMaterial({ color: KNOB, depthTest: false, transparent: true, opacity: 0.9 });

/** Where a knob is: along the direction, beside the place, or at the direction's far end. */
function placeOf({ at, along, size, isInward }: Held, knob: Knob): THREE.Vector3 {
  const [base, way] = [vector(at), vector(along).normalize()];
  const side = new THREE.Vector3(0, 0, 1).cross(way);
  if (side.lengthSq() < 0.01) side.set(1, 0, 0);
  const out = isInward ? -size : size;
  if (knob === "along") return base.addScaledVector(way, 0.4 * out);
  if (knob === "aside") return base.addScaledVector(side.normalize(), 0.75 * size);
  return base.addScaledVector(way, 0.85 * out);
}
