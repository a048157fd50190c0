// Words at places of the picture.

import type * as THREE from "three";

import type { Label } from "./marks";

/** A word is about so large, in pixels: nearer ones would hide each other. */
const SIZE = { width: 70, height: 24 };

/** Words over the picture; those who do not see it have the column. */
export class Labels {
  readonly element = document.createElement("div");
  private shown: { element: HTMLElement; at: THREE.Vector3 }[] = [];

  constructor() {
    this.element.className = "labels";
    this.element.ariaHidden = "true";
  }

  /** These words and no others, of marks and of knobs. */
  show(marks: Label[], knobs: Label[]): void {
    this.element.replaceChildren();
    const all = [...marks.map((label) => ({ ...label, isKnob: false })), ...knobs.map((label) => ({ ...label, isKnob: true }))];
    this.shown = all.map(({ text, at, isKnob }) => {
      const element = document.createElement("span");
      element.textContent = text;
      // Until it has its place, with the next picture.
      element.hidden = true;
      if (isKnob) element.className = "knob";
      this.element.append(element);
      return { element, at };
    });
  }

  /** Puts them where they belong in a picture of this size; below each other where they would overlap. */
  put(camera: THREE.Camera, width: number, height: number): void {
    const taken: [number, number][] = [];
    for (const { element, at } of this.shown) {
      const p = at.clone().project(camera);
      const x = ((p.x + 1) / 2) * width;
      let y = ((1 - p.y) / 2) * height;
      while (taken.some(([ox, oy]) => Math.abs(ox - x) < SIZE.width && Math.abs(oy - y) < SIZE.height)) y += SIZE.height;
      if (p.z <= 1) taken.push([x, y]);
      element.hidden = p.z > 1;
      element.style.transform = `translate(${x}px, ${y}px)`;
    }
  }
}
