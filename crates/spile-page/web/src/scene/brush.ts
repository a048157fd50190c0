// The brush: which triangles of a surface a ball at a place of it touches.

import * as THREE from "three";
import type { ExtendedTriangle, MeshBVH } from "three-mesh-bvh";

/**
 * The triangles that a ball touches and that face as the surface does at its middle, so
 * that a brush wider than the wall does not paint the wall's other side.
 */
export function touched(mesh: THREE.Mesh, at: THREE.Vector3, normal: THREE.Vector3, radius: number, into: Set<number>): void {
  const tree = mesh.geometry.boundsTree as MeshBVH | undefined;
  tree?.shapecast({
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

/** The triangles whose corners all lie within a distance of some points. */
export function within(mesh: THREE.Mesh, points: THREE.Vector3[], distance: number): number[] {
  const tree = mesh.geometry.boundsTree as MeshBVH | undefined;
  const found: number[] = [];
  const round = new THREE.Box3().setFromPoints(points).expandByScalar(distance);
  const isNear = (p: THREE.Vector3) => points.some((q) => p.distanceToSquared(q) < distance * distance);
  tree?.shapecast({
    intersectsBounds: (box: THREE.Box3) => box.intersectsBox(round),
    intersectsTriangle: ({ a, b, c }: ExtendedTriangle, index: number) => {
      if (isNear(a) && isNear(b) && isNear(c)) found.push(index);
      return false;
    },
  });
  return found;
}
