// A stand-in for the program's server, for work on the page only: facts in memory, the chart and the
// suspects from the gridleak program itself.
//   node web/mock/server.mjs OUTDIR GRIDLEAK [PORT]
import { execFile } from "node:child_process";
import { createServer } from "node:http";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { library } from "./amps.mjs";
import { more, PDF } from "./more.mjs";
import { seed, Shop } from "./shop.mjs";

const [, , outdir, program, port = "8473"] = process.argv;
const run = (...words) =>
  new Promise((done) =>
    execFile(program, [...words, "--json"], { maxBuffer: 1 << 26 }, (error, out, complaint) =>
      done(JSON.parse(out || complaint)),
    ),
  );
const amps = library();
const shop = new Shop(amps);
seed(shop);
const streams = new Set();
const tell = (what, data) =>
  streams.forEach((stream) => stream.write(`event: ${what}\ndata: ${JSON.stringify(data)}\n\n`));

const pairing = {
  lan: true,
  code: "4821 0937",
  address: "https://192.0.2.7:8474/",
  fingerprint: "5E:1A:90:CC:07:4B:11:F2",
  devices: 1,
  locked_s: 0,
};

const routes = [
  ...more({ run, amps, shop, tell }),
  ["GET", /^\/api\/ping$/, () => ({ gridleak: "0.1.0" })],
  ["GET", /^\/api\/pairing$/, () => pairing],
  ["POST", /^\/api\/pairing$/, () => pairing],
  ["GET", /^\/api\/shop$/, () => shop.shop],
  ["PUT", /^\/api\/shop$/, (_, body) => (shop.shop = body)],
  [
    "GET",
    /^\/api\/jobs$/,
    (_, __, q) => shop.search(q.get("q") ?? "", q.get("open") === "1", Number(q.get("most") ?? 50)),
  ],
  ["POST", /^\/api\/jobs$/, (_, body) => ({ job: shop.open(body) })],
  ["GET", /^\/api\/jobs\/(\d+)$/, ([job]) => shop.view(job)],
  ["GET", /^\/api\/jobs\/(\d+)\/facts$/, ([job]) => shop.facts(job)],
  [
    "POST",
    /^\/api\/jobs\/(\d+)\/facts$/,
    ([job], body) => answerFact(job, shop.add(job, body), body.kind),
  ],
  [
    "POST",
    /^\/api\/jobs\/(\d+)\/edit$/,
    ([job], body) => answerFact(job, shop.add(job, { kind: "edit", body }), "edit"),
  ],
  ["POST", /^\/api\/jobs\/(\d+)\/undo$/, ([job], body) => answerUndo(job, body.fact)],
  ["GET", /^\/api\/jobs\/(\d+)\/safety$/, ([job]) => shop.safety(job)],
  ["GET", /^\/api\/jobs\/(\d+)\/amp$/, ([job]) => shop.ampOf(job)],
  ["GET", /^\/api\/jobs\/(\d+)\/differences$/, ([job]) => shop.differences(job)],
  ["GET", /^\/api\/jobs\/(\d+)\/dates$/, ([job]) => shop.dates(job)],
  [
    "GET",
    /^\/api\/history$/,
    () => ({ alike: 31, causes: [{ part: "C6", what: "leaky", count: 19 }] }),
  ],
];

function answerUndo(job, fact) {
  shop.undo(job, fact);
  return {
    undone: fact,
    ...answerFact(job, shop.add(job, { kind: "undo", body: { fact } }), "undo"),
  };
}

function answerFact(job, fact, kind) {
  tell("fact", { job: Number(job), fact, kind });
  if (kind === "reading") setTimeout(() => tell("suspects", { job: Number(job) }), 50);
  return { fact, view: shop.view(job) };
}

function types() {
  const lines = readFileSync(join(outdir, "files.txt"), "utf8").trim().split("\n");
  return new Map(lines.map((line) => line.split("\t")));
}

function file(path, response) {
  const name = path === "/" ? "index.html" : path.slice(1);
  const type = types().get(name);
  if (!type) return response.writeHead(404).end();
  response.writeHead(200, {
    "Content-Type": type,
    "Content-Encoding": "gzip",
    "Content-Security-Policy": "default-src 'self'",
  });
  response.end(readFileSync(join(outdir, `${name}.gz`)));
}

function stream(request, response) {
  response.writeHead(200, { "Content-Type": "text/event-stream" });
  response.write(": here\n\n");
  streams.add(response);
  request.on("close", () => streams.delete(response));
}

async function bytes(request) {
  const chunks = [];
  for await (const chunk of request) chunks.push(chunk);
  return Buffer.concat(chunks);
}

function photo(path, body, response) {
  if (body)
    return response
      .writeHead(200, { "Content-Type": "application/json" })
      .end(JSON.stringify({ hash: shop.keepPhoto(body) }));
  response
    .writeHead(200, { "Content-Type": "image/jpeg" })
    .end(shop.photos.get(path.split("/").at(-1)));
}

async function serve(request, response) {
  const { pathname, searchParams } = new URL(request.url, "http://localhost");
  if (pathname === "/api/events") return stream(request, response);
  if (!pathname.startsWith("/api/")) return file(pathname, response);
  const body = await bytes(request);
  if (pathname.startsWith("/api/photos/")) return photo(pathname, null, response);
  if (pathname.endsWith(".pdf"))
    return response.writeHead(200, { "Content-Type": "application/pdf" }).end(PDF);
  if (pathname.endsWith("/photos")) return photo(pathname, body, response);
  for (const [method, pattern, answer] of routes) {
    const found = method === request.method && pattern.exec(pathname);
    if (!found) continue;
    const result = await answer(
      found.slice(1),
      body.length ? JSON.parse(body) : null,
      searchParams,
    );
    return response
      .writeHead(200, { "Content-Type": "application/json" })
      .end(JSON.stringify(result));
  }
  throw Object.assign(new Error(`no ${request.method} ${pathname} here`), { status: 404 });
}

const server = createServer((request, response) => {
  serve(request, response).catch((error) =>
    response.writeHead(error.status ?? 400, { "Content-Type": "application/json" }).end(
      JSON.stringify({
        errors: [{ code: "value", cause: error.message, remedy: error.remedy ?? null }],
      }),
    ),
  );
});
server.listen(Number(port), "127.0.0.1", () =>
  console.log(`http://127.0.0.1:${server.address().port}/`),
);
