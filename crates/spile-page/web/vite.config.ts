import { defineConfig } from "vite";

import { licences } from "./licences.ts";

// Names without hashes: the files are built into one binary and never cached.
export default defineConfig({
  base: "./",
  plugins: [licences],
  build: {
    target: "es2022",
    emptyOutDir: false,
    modulePreload: false,
    chunkSizeWarningLimit: 2000,
    rollupOptions: {
      output: { entryFileNames: "page.js", assetFileNames: "page.[ext]", codeSplitting: false },
    },
  },
});
