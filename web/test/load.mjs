// Brings one TypeScript module of the page into a test.
import { build } from "esbuild";
import { fileURLToPath } from "node:url";

export async function load(name) {
  const entry = fileURLToPath(new URL(`../src/${name}`, import.meta.url));
  const { outputFiles } = await build({
    entryPoints: [entry],
    bundle: true,
    format: "esm",
    loader: { ".css": "empty" },
    write: false,
  });
  return import(
    `data:text/javascript;base64,${Buffer.from(outputFiles[0].text).toString("base64")}`
  );
}
