// Builds the page into a folder: node web/build.mjs OUTDIR
// Files have the hash of their content in the name, except index.html. Beside each stands NAME.gz;
// files.txt lists them, a line each: NAME, a tab, the media type.
import { build } from "esbuild";
import { mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { basename, dirname, extname, join, resolve } from "node:path";
import { fileURLToPath } from "node:url";
import { constants, gzipSync } from "node:zlib";

const LIMIT = 150_000; // bytes, compressed, in all
const TYPES = {
  ".html": "text/html; charset=utf-8",
  ".js": "text/javascript; charset=utf-8",
  ".css": "text/css; charset=utf-8",
  ".svg": "image/svg+xml",
  ".woff": "font/woff",
  ".woff2": "font/woff2",
  ".txt": "text/plain; charset=utf-8",
};
const here = dirname(fileURLToPath(import.meta.url));

async function bundle(out) {
  const result = await build({
    entryPoints: { app: join(here, "src/main.tsx"), icon: join(here, "src/icon.svg") },
    outdir: out,
    bundle: true,
    minify: true,
    format: "esm",
    splitting: true,
    target: "es2022",
    jsx: "automatic",
    jsxImportSource: "preact",
    entryNames: "[name]-[hash]",
    chunkNames: "part-[hash]",
    assetNames: "[name]-[hash]",
    loader: { ".woff": "file", ".woff2": "file", ".svg": "copy" },
    legalComments: "none",
    metafile: true,
    logLevel: "warning",
  });
  const { outputs } = result.metafile;
  const app = Object.values(outputs).find(({ entryPoint }) => entryPoint?.endsWith("main.tsx"));
  // What the program begins with, fetched beside it rather than after it.
  const first = app.imports.filter(({ kind }) => kind === "import-statement");
  return {
    names: Object.keys(outputs).map((path) => basename(path)),
    preload: first.map(({ path }) => `<link rel="modulepreload" href="/${basename(path)}" />`),
  };
}

function index(out, { names, preload }) {
  const one = (pattern) => names.find((name) => pattern.test(name));
  const fill = {
    SCRIPT: one(/^app-.*\.js$/),
    STYLE: one(/^app-.*\.css$/),
    REGULAR: one(/^b612-latin-400.*\.woff$/),
    BOLD: one(/^b612-latin-700.*\.woff2$/),
    ICON: one(/^icon-.*\.svg$/),
    PRELOAD: preload.join(""),
  };
  const text = readFileSync(join(here, "index.html"), "utf8");
  const page = text.replace(/\{(\w+)\}/g, (_, key) => fill[key]);
  writeFileSync(join(out, "index.html"), page);
  // The font's licence travels with the font.
  const licence = readFileSync(join(here, "node_modules/@fontsource/b612/LICENSE"));
  writeFileSync(join(out, "font-licence.txt"), licence);
  return [...names, "index.html", "font-licence.txt"].sort();
}

function compress(out, names) {
  let total = 0;
  for (const name of names) {
    const packed = gzipSync(readFileSync(join(out, name)), { level: constants.Z_BEST_COMPRESSION });
    writeFileSync(join(out, `${name}.gz`), packed);
    total += packed.length;
    console.log(`${String(packed.length).padStart(7)}  ${name}`);
  }
  const lines = names.map((name) => `${name}\t${TYPES[extname(name)]}\n`);
  writeFileSync(join(out, "files.txt"), lines.join(""));
  console.log(`${String(total).padStart(7)}  in all, compressed`);
  if (total > LIMIT) throw new Error(`the page is ${total} bytes compressed; ${LIMIT} are allowed`);
}

function clear(out) {
  mkdirSync(out, { recursive: true });
  const ours = /^(app-|part-|b612-|icon-|index\.html|font-licence|files\.txt)/;
  for (const name of readdirSync(out)) if (ours.test(name)) rmSync(join(out, name));
}

if (!process.argv[2]) {
  console.error("usage: node web/build.mjs OUTDIR");
  process.exit(64);
}
const out = resolve(process.argv[2]);
clear(out);
compress(out, index(out, await bundle(out)));
