import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";

import type { Plugin } from "vite";

/** Puts the licence of every package that a script is built from at its head, as they ask. */
export const licences: Plugin = {
  name: "licences",
  generateBundle(_, bundle) {
    for (const file of Object.values(bundle)) {
      if (file.type !== "chunk") continue;
      const packages = file.moduleIds.flatMap((id) => /.*\/node_modules\/(?:@[^/]+\/)?[^/]+(?=\/)/.exec(id)?.[0] ?? []);
      const texts = [...new Set(packages)].sort().map((folder) => {
        const text = ["LICENSE", "LICENSE.md", "LICENSE.txt"].map((name) => join(folder, name)).find((path) => existsSync(path));
        const { name, version } = JSON.parse(readFileSync(join(folder, "package.json"), "utf8")) as { name: string; version: string };
        if (!text) this.error(`${name} has no licence text`);
        return `${name} ${version}\n\n${readFileSync(text, "utf8").replaceAll("\r", "").trim()}`;
      });
      file.code = `/*!\n${texts.join("\n\n").replaceAll("*/", "* /")}\n*/\n${file.code}`;
    }
  },
};
