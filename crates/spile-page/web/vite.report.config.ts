import { defineConfig, type Plugin } from "vite";

import { licences } from "./licences.ts";

/** What would end the script inside the report's page before its end. */
const BREAKS_OFF = ["</script", "<!--", "\r"];

/**
 * The script stands in a page of well-formed XML, bordered as plain text there. `]]>` would
 * end that; in code, and in the shaders that it holds, a space between means the same.
 */
const fitForXml: Plugin = {
  name: "fit-for-xml",
  generateBundle(_, bundle) {
    for (const file of Object.values(bundle)) {
      if (file.type !== "chunk") continue;
      file.code = `//<![CDATA[\n${file.code.replaceAll("]]>", "]] >").trimEnd()}\n//]]>`;
      const bad = BREAKS_OFF.find((piece) => file.code.toLowerCase().includes(piece));
      if (bad) this.error(`the report's script holds ${JSON.stringify(bad)}`);
    }
  },
};

// The script that turns the part in a report: one plain script, to be put into the page.
export default defineConfig({
  publicDir: false,
  plugins: [licences, fitForXml],
  build: {
    target: "es2022",
    emptyOutDir: false,
    chunkSizeWarningLimit: 2000,
    lib: { entry: "src/report/report.tsx", formats: ["iife"], name: "spileReport", fileName: () => "report.js" },
  },
});
