import { defineConfig } from "vite";

// One script, one sheet, one page: served under /page/ with plain names, so that the server can list what it gives out.
export default defineConfig({
  base: "/page/",
  build: {
    outDir: "../src/condyle/atlas/page",
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: false,
    chunkSizeWarningLimit: 1200,
    rollupOptions: {
      output: {
        entryFileNames: "atlas.js",
        chunkFileNames: "[name].js",
        assetFileNames: "[name][extname]",
      },
    },
  },
});
