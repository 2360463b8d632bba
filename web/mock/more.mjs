// More of the stand-in: what the panels from Measure on ask for, and jobs that have come that far.
import { mkdtempSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

const HOUR = 3_600_000;
const METER_STEP = 0.02;

export function more({ run, amps, shop, tell }) {
  const bases = new Map();
  const base = async (type) => {
    if (!bases.has(type)) {
      const { base, pins } = await run("tube", type);
      bases.set(type, { base, pins });
    }
    return bases.get(type);
  };
  const options = (job, q, reads) => {
    const mains = reads.map(({ mains }) => mains).find(Boolean);
    return [`--meter=${q.get("meter") ?? "10M"}`, ...(mains ? [`--mains=${mains}`] : [])];
  };

  async function probe(tubes, at, what) {
    const [, tube, pin] = /^(V\d+)\.(\d+)/.exec(at) ?? [];
    if (!tube || what === "across") return null;
    const { base: name, pins } = await base(tubes[tube].type);
    const electrode = pins.find((one) => one.pin === Number(pin)).electrode;
    return { tube, base: name, pins: pins.length, pin: Number(pin), electrode };
  }

  async function chart([job], _, q) {
    const phase = q.get("phase") ?? "before";
    const reads = shop.view(job).readings[phase];
    const { name, tubes } = shop.ampOf(job);
    const answer = await run("chart", name, ...options(job, q, reads));
    if (answer.errors) throw Object.assign(new Error(answer.errors[0].cause), { status: 422 });
    for (const line of answer.lines) {
      const read = reads.findLast(({ at }) => at === line.at)?.volts ?? null;
      const low = read !== null && read < line.low - METER_STEP;
      const high = read !== null && read > line.high + METER_STEP;
      line.read = read;
      line.verdict = read === null ? "" : low ? "low" : high ? "high" : "inside";
      line.probe = await probe(tubes, line.at, line.what);
    }
    return answer;
  }

  async function suspects([job], _, q) {
    const reads = shop.view(job).readings[q.get("phase") ?? "before"];
    const answer = await run(
      "suspects",
      shop.ampOf(job).name,
      ...reads.map(({ at, volts }) => `${at}=${volts}`),
    );
    return { ...answer, shop: { alike: 31, used: q.get("shop") === "1" } };
  }

  function substitute(job, name) {
    const part = shop.ampOf(job).parts.find((one) => one.name === name);
    const one = (text, note = "") => ({
      text,
      value: null,
      volts: null,
      watts: null,
      kind: "",
      note,
    });
    const choices = {
      capacitor: [
        one(`${part?.value} 630 V film, axial`, "Nearest value, half as much again in volts."),
        one(`${part?.value} 400 V film, radial`, "If its leads reach."),
      ],
      resistor: [one(`${part?.value} 1 W metal film`), one(`${part?.value} 2 W metal oxide`)],
      tube: [one(`${part?.value}, tested`)],
    };
    const keep = part?.kind === "resistor" ? "Within 10 % and quiet: it may stay." : "";
    return { part: name, across: 212, burns: null, choices: choices[part?.kind] ?? [], keep };
  }

  const compareWords = (verdict, before) =>
    verdict === ""
      ? "not read after the repair"
      : verdict === "inside"
        ? before === null
          ? "good after the repair"
          : "was off, now good"
        : `still ${verdict}`;

  async function compare([job]) {
    const { readings } = shop.view(job);
    const healthy = await run("chart", shop.ampOf(job).name);
    const read = (phase, at) => readings[phase].findLast((one) => one.at === at)?.volts ?? null;
    const places = healthy.lines
      .map(({ at, what, shown, low, high }) => {
        const [before, after] = [read("before", at), read("after", at)];
        const side =
          after < low - METER_STEP ? "low" : after > high + METER_STEP ? "high" : "inside";
        const verdict = after === null ? "" : side;
        return {
          at,
          what,
          expected_before: shown,
          before,
          expected_after: shown,
          after,
          verdict,
          words: compareWords(verdict, before),
        };
      })
      .filter(({ before, after }) => before !== null || after !== null);
    const tubes = healthy.tubes.map(({ tube, type, unit, plate_w, ratings }) => ({
      tube,
      type,
      unit,
      watts_before: plate_w > 5 ? plate_w * 1.31 : null,
      watts_after: plate_w > 5 ? plate_w : null,
      watts_expected: plate_w,
      rating_w: ratings[0]?.plate_w ?? null,
      system: ratings[0]?.system ?? null,
      percent_after: plate_w > 5 ? (ratings[0]?.plate_percent ?? null) : null,
    }));
    return { places, tubes };
  }

  const drawn = new Map(); // curves take the program seconds this way
  const curves = (_, __, q) => {
    const key = String(q);
    if (!drawn.has(key)) drawn.set(key, draw(q));
    return drawn.get(key);
  };

  async function draw(q) {
    const chart = await run("chart", q.get("amp"));
    const units = chart.tubes.filter(({ tube }) => tube === q.get("tube"));
    const one = units[Number(q.get("unit") ?? 0)];
    const pentode = one.screen_v !== null;
    const grids = pentode
      ? [0, -5, -10, -15, -20, -25, -30]
      : [0, -0.5, -1, -1.5, -2, -2.5, -3, -4];
    const most = pentode ? 600 : 400;
    const plate_v = Array.from({ length: 11 }, (_, at) => (at * most) / 10);
    const at = async (plate, grid) => {
      const words = [`--plate=${Math.max(plate, 1)}`, `--grid=${grid}`];
      if (pentode) words.push(`--screen=${one.screen_v - one.cathode_v}`);
      return (await run("tube", one.type, ...words)).plate_ma ?? 0;
    };
    const made = [];
    for (const grid_v of grids)
      made.push({ grid_v, plate_ma: await Promise.all(plate_v.map((v) => at(v, grid_v))) });
    const point = {
      plate_v: one.plate_v - one.cathode_v,
      plate_ma: one.plate_ma,
      grid_v: one.grid_v - one.cathode_v,
    };
    const top = point.plate_v + (pentode ? 60 : 120);
    const rise = point.plate_ma / (top - point.plate_v);
    const limit_w = one.ratings[0]?.plate_w ?? null;
    const limit_v = plate_v.filter((v) => v > 0);
    return {
      tube: one.tube,
      type: one.type,
      unit: one.unit,
      plate_v,
      curves: made,
      load: { plate_v: [0, top], plate_ma: [rise * top, 0] },
      load_ohms: 1000 / rise,
      point,
      limit: { plate_v: limit_v, plate_ma: limit_v.map((v) => (1000 * limit_w) / v) },
      limit_w,
      system: one.ratings[0]?.system ?? null,
      screen_v: pentode ? one.screen_v - one.cathode_v : null,
      most: { plate_v: most, plate_ma: point.plate_ma * 3 },
      trusted: one.trusted,
    };
  }

  async function check(_, { text }) {
    const file = join(mkdtempSync(join(tmpdir(), "amp-")), "amp.yaml");
    writeFileSync(file, text);
    const { errors = [], warnings = [] } = await run("check", file);
    return { errors, warnings };
  }

  async function amp([name]) {
    const found = amps.get(name);
    if (!found) throw Object.assign(new Error(`There is no amp “${name}”.`), { status: 404 });
    const chart = await run("chart", found.library ?? name);
    const count = new Map();
    const tubes = (chart.tubes ?? []).map(({ tube, type, unit: name }) => {
      const unit = count.get(tube) ?? 0;
      count.set(tube, unit + 1);
      return { tube, type, unit, name, kind: "triode", does: found.tubes[tube].does ?? null };
    });
    return { ...found, amp: found.title, own: !!found.own, chart, tubes, errors: [], warnings: [] };
  }

  function save([name], { text }) {
    const like =
      [...amps.values()].find((one) => one.text.slice(0, 200) === text.slice(0, 200)) ??
      amps.get("wren-hollow");
    amps.set(name, {
      ...like,
      ...amps.get(name),
      name,
      text,
      own: true,
      library: like.library ?? like.name,
    });
    tell("amp", { name });
    return { name, warnings: [] };
  }

  seedMore(shop);
  return [
    ["GET", /^\/api\/jobs\/(\d+)\/chart$/, chart],
    ["GET", /^\/api\/jobs\/(\d+)\/suspects$/, suspects],
    ["GET", /^\/api\/jobs\/(\d+)\/substitute$/, ([job], _, q) => substitute(job, q.get("part"))],
    ["GET", /^\/api\/jobs\/(\d+)\/compare$/, compare],
    ["GET", /^\/api\/curves$/, curves],
    ["POST", /^\/api\/check$/, check],
    [
      "GET",
      /^\/api\/amps$/,
      () =>
        [...amps.values()].map(({ name, title, family, story, own }) => ({
          name,
          amp: title,
          family,
          story,
          own: !!own,
        })),
    ],
    ["GET", /^\/api\/amps\/([^/]+)$/, amp],
    ["PUT", /^\/api\/amps\/([^/]+)$/, save],
  ];
}

function seedMore(shop) {
  const now = Date.now();
  const job = shop.open(
    {
      owner: "Marit Solberg",
      contact: "marit at the bakery",
      complaint: "Loud hum, then it blew its fuse.",
      keep: "as original as can be",
      accessories: ["foot switch"],
      amp: "saltpan",
    },
    now - 90 * HOUR,
  );
  const add = (kind, body, ago) => shop.add(job, { kind, body }, now - ago * HOUR);
  const reads = {
    "V4.2": 5.1,
    "V4.3": 12.4,
    "V5.2": 0.02,
    "V4.7": 299,
    B2: 301,
    "V3.1": 204,
  };
  add("cord", { wires: 2, chassis_capacitor: true }, 80);
  add("look", { part: "C9", state: "original", condition: ["bulged"] }, 80);
  add("power", { on: true, mains: 241 }, 79);
  for (const [at, volts] of Object.entries(reads))
    add("reading", { phase: "before", at, volts, meter: "10M", mains: 241 }, 78);
  add(
    "decision",
    {
      part: "C7",
      action: "replace",
      reason: "failing",
      what: "leaky coupling capacitor",
      substitute: "22n 630 V film, axial",
      price: 240,
      minutes: 15,
      bag: true,
    },
    70,
  );
  add(
    "decision",
    {
      part: "C9",
      action: "replace",
      reason: "reliability",
      what: "bulged filter capacitor",
      substitute: "47u 450 V electrolytic, axial",
      price: 790,
      minutes: 25,
      bag: true,
    },
    70,
  );
  add(
    "decision",
    { part: "R3", action: "leave", reason: "originality", what: "drifted, within what it needs" },
    70,
  );
  add(
    "estimate",
    {
      lines: [
        { text: "C7 22n 630 V film", amount: 240 },
        { text: "C9 47u 450 V electrolytic", amount: 790 },
        { text: "Labour, 40 min", amount: 4333 },
      ],
      total: 6436,
    },
    69,
  );
  add("acceptance", { accepted: true, by: "Marit Solberg", how: "telephone" }, 60);
  add(
    "work",
    {
      text: "Replace C7 by 22n 630 V film",
      part: "C7",
      pins: "V3.1 to V4.2",
      done: true,
      minutes: 18,
    },
    50,
  );
  add(
    "work",
    {
      text: "Replace C9 by 47u 450 V electrolytic",
      part: "C9",
      pins: "B3 to ground, + at B3",
      done: false,
    },
    50,
  );
  for (const [at, volts] of Object.entries({
    "V4.3": 10.5,
    "V4.2": 0.01,
    "V5.3": 10.3,
    B2: 304,
    "V3.1": 231,
  }))
    add("reading", { phase: "after", at, volts, meter: "10M", mains: 241 }, 3);
  add("check", { what: "P1 volume", result: "good" }, 2);
  add("stage", { stage: "repair" }, 2);
}

/** A page of nothing, for links that open a PDF. */
export const PDF = Buffer.from(
  "%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]>>endobj\ntrailer<</Root 1 0 R>>\n",
);
