// Search trees of large surfaces, made beside the page by the page's own script, run once
// more as a worker: the picture comes first, and the page goes on meanwhile.

import * as THREE from "three";
import { MeshBVH, type SerializedBVH } from "three-mesh-bvh";

/** Of fewer triangles a tree is made sooner than a worker is started. */
const MANY = 200_000;

/** What a tree is made of. */
interface Asked {
  points: Float32Array;
  triangles: Uint32Array;
  groups: THREE.BufferGeometry["groups"];
}

/** A surface's search tree. It keeps the order of triangles: it has an index of its own. */
export const grown = (geometry: THREE.BufferGeometry): MeshBVH => new MeshBVH(geometry, { indirect: true });

/** As a worker: answers with trees. */
export function serveTrees(): void {
  addEventListener("message", ({ data: { points, triangles, groups } }: MessageEvent<Asked>) => {
    const geometry = new THREE.BufferGeometry();
    geometry.setAttribute("position", new THREE.BufferAttribute(points, 3));
    geometry.setIndex(new THREE.BufferAttribute(triangles, 1));
    for (const { start, count, materialIndex } of groups) geometry.addGroup(start, count, materialIndex);
    const tree = { ...MeshBVH.serialize(grown(geometry), { cloneBuffers: false }), index: null };
    postMessage(tree, { transfer: [...tree.roots, ...(tree.indirectBuffer ? [tree.indirectBuffer.buffer] : [])] });
  });
}

/** Has the tree of a large surface made by `script`; null where it is made as soon here. */
export function grownAside(geometry: THREE.BufferGeometry, script: string): Promise<MeshBVH> | null {
  const [points, triangles] = [geometry.getAttribute("position").array, geometry.index!.array];
  if (triangles.length < 3 * MANY) return null;
  const worker = new Worker(script, { type: "module" });
  return new Promise<MeshBVH>((resolve, reject) => {
    worker.onmessage = ({ data }: MessageEvent<SerializedBVH>) => resolve(MeshBVH.deserialize(data, geometry, { setIndex: false }));
    worker.onerror = () => reject(new Error("no worker"));
    worker.postMessage({ points, triangles, groups: geometry.groups } as Asked);
  }).finally(() => worker.terminate());
}
