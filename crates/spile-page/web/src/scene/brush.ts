// The brush: which triangles of a surface a ball at a place of it touches.

import * as THREE from "three";
import type { ExtendedTriangle } from "three-mesh-bvh";

import { treeOf } from "./surface-mesh";

/**
 * The triangles that a ball touches and that face as the surface does at its middle, so
 * that a brush wider than the wall does not paint the wall's other side.
 */
export function touched(mesh: THREE.Mesh, at: THREE.Vector3, normal: THREE.Vector3, radius: number, into: Set<number>): void {
  treeOf(mesh).shapecast({
    intersectsBounds: (box: THREE.Box3) => box.distanceToPoint(at) <= radius,
    intersectsTriangle: (triangle: ExtendedTriangle, index: number) => {
      triangle.closestPointToPoint(at, nearest);
      if (nearest.distanceToSquared(at) > radius * radius) return false;
      triangle.getNormal(facing);
      if (facing.dot(normal) >= 0) into.add(index);
      return false;
    },
  });
}

const nearest = new THREE.Vector3();
const facing = new THREE.Vector3();
