// What is drawn beside the surfaces.

import * as THREE from "three";

import type { Tube } from "../state/plan";
import type { Triple } from "../state/values";
import { MARK, PLANNED } from "./colours";
import { vector } from "./handles";
import { dispose } from "./surface-mesh";

/** What is drawn beside the surfaces. */
export interface Marks {
  /** Places with their number in the list. */
  places: { at: Triple; size: number; label: string }[];
  /** Outlines of a defect, pairs of points, with its number in the list. */
  outlines: { pairs: Float32Array; at: Triple; label: string }[];
  /** Planes, each a disc. */
  planes: { at: Triple; facing: Triple; radius: number }[];
  tubes: Tube[];
  balls: { at: Triple; radius: number }[];
  boxes: { min: Triple; max: Triple }[];
  /** Straight lines with what they measure. */
  lines: { from: Triple; to: Triple; label: string }[];
}

/** A word at a place of the picture. */
export interface Label {
  text: string;
  at: THREE.Vector3;
}

/** Fills `group` with these marks in place of the earlier ones; gives the words to them. */
export function fill(group: THREE.Group, marks: Marks): Label[] {
  for (const child of group.children) dispose(child);
  group.clear();
  const labels: Label[] = [];
  for (const { at, size, label } of marks.places) {
    labels.push({ text: label, at: vector(at) });
    const ring = new THREE.Mesh(
      new THREE.TorusGeometry(size, size / 14, 6, 32),
      new THREE.MeshBasicMaterial({ color: MARK, depthTest: false }),
    );
    ring.position.copy(vector(at));
    ring.userData.facesCamera = true;
    group.add(ring);
  }
  for (const { pairs, at, label } of marks.outlines) {
    labels.push({ text: label, at: vector(at) });
    group.add(lines(pairs));
  }
  for (const { from, to, label } of marks.lines) {
    const middle = vector(from).lerp(vector(to), 0.5);
    labels.push({ text: label, at: middle });
    group.add(lines(new Float32Array([...from, ...to])));
  }
  for (const { at, facing, radius } of marks.planes) {
    const disc = new THREE.Mesh(new THREE.CircleGeometry(radius, 64), clear(MARK, 0.35));
    disc.position.copy(vector(at));
    disc.quaternion.setFromUnitVectors(new THREE.Vector3(0, 0, 1), vector(facing).normalize());
    group.add(disc);
  }
  for (const tube of marks.tubes) group.add(planned(tube));
  for (const { at, radius } of marks.balls) {
    const ball = new THREE.Mesh(new THREE.SphereGeometry(radius, 32, 16), clear(PLANNED, 0.3));
    ball.position.copy(vector(at));
    group.add(ball);
  }
  for (const { min, max } of marks.boxes) {
    const size = vector(max).sub(vector(min));
    const box = new THREE.Mesh(new THREE.BoxGeometry(size.x, size.y, size.z), clear(PLANNED, 0.3));
    box.position.copy(vector(min).addScaledVector(size, 0.5));
    group.add(box);
  }
  return labels;
}

const clear = (color: number, opacity: number) =>
  new THREE.MeshBasicMaterial({ color, side: THREE.DoubleSide, transparent: true, opacity, depthWrite: false });

function lines(pairs: Float32Array): THREE.LineSegments {
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute("position", new THREE.BufferAttribute(pairs, 3));
  const made = new THREE.LineSegments(geometry, new THREE.LineBasicMaterial({ color: MARK, depthTest: false }));
  made.renderOrder = 1;
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
