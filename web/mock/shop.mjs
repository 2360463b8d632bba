// An invented shop: facts in memory, and the view worked out from them.
import { createHash } from "node:crypto";

const STAGES = [
  "take in",
  "make safe",
  "look over",
  "measure",
  "find",
  "decide",
  "repair",
  "prove",
  "hand back",
];
const NEXT = {
  "make safe": "Drain the filter capacitors and read each of them.",
  "look over": "Look over the parts that were not seen yet.",
  measure: "Read the voltage chart, beginning where the suspects ask.",
  decide: "Decide what is to be done with each suspect.",
  done: "Handed back.",
};
const farads = (text) => parseFloat(text) * (/p/.test(text) ? 1e-12 : /n/.test(text) ? 1e-9 : 1e-6);

export class Shop {
  constructor(amps) {
    this.amps = amps;
    this.jobs = new Map();
    this.photos = new Map();
    this.tokens = new Map();
    this.last = 0;
    this.shop = {
      name: "Lantern Street Amp Repair",
      address: "4 Lantern Street",
      currency: "EUR",
      tax_percent: 20,
      hourly: 6500,
      paper: "A4",
      contact: "",
      next_number: 105,
    };
  }
  open(body, at = Date.now()) {
    const job = this.jobs.size + 101;
    this.jobs.set(job, { facts: [], opened: at });
    this.add(job, { kind: "take in", body }, at);
    return job;
  }
  facts(job) {
    const found = this.jobs.get(Number(job));
    if (!found) throw Object.assign(new Error(`There is no job ${job}.`), { status: 404 });
    return found.facts;
  }
  add(job, { kind, body, replaces = null, token }, at = Date.now()) {
    if (token && this.tokens.has(token)) return this.tokens.get(token);
    if (kind === "drain" && Math.abs(body.volts) > 5000)
      throw Object.assign(new Error(`volts: ${body.volts} is no reading of this amp.`), {
        remedy: "Read the meter again.",
      });
    this.facts(job).push({ id: ++this.last, at, kind, body, replaces, undone: false });
    if (token) this.tokens.set(token, this.last);
    return this.last;
  }
  undo(job, id) {
    this.facts(job).find((one) => one.id === id).undone = true;
  }
  standing(job) {
    const all = this.facts(job).filter((fact) => !fact.undone);
    const replaced = new Set(all.map(({ replaces }) => replaces));
    return all.filter(({ id }) => !replaced.has(id));
  }
  of(job, kind) {
    return this.standing(job).filter((fact) => fact.kind === kind);
  }
  ampOf(job) {
    return this.amps.get(this.of(job, "take in").at(-1).body.amp);
  }
  filters(job) {
    return (this.ampOf(job)?.parts ?? []).filter(
      (part) =>
        part.kind === "capacitor" &&
        part.material === "electrolytic" &&
        parseFloat(part.rating) >= 100,
    );
  }
  drained(job, power) {
    const reads = this.of(job, "drain");
    const capacitors = this.filters(job).map((part, n) => {
      const read = reads.filter(({ body }) => body.at === part.name).at(-1);
      return {
        part: part.name,
        node: part.nodes[0],
        value: part.value,
        rating: parseFloat(part.rating),
        volts: read?.body.volts ?? null,
        at: read?.at ?? null,
        expected_volts: 392 - 22 * n,
        below_60: !!read && read.at > (power?.at ?? 0) && Math.abs(read.body.volts) < 60,
      };
    });
    const fresh = capacitors.every((one) => one.at !== null && one.at > (power?.at ?? 0));
    const low = capacitors.length > 0 && capacitors.every((one) => one.below_60);
    const any = capacitors.some(({ volts }) => volts !== null);
    const state = power?.body.on
      ? "on"
      : low
        ? "below 60 V"
        : any && !fresh && power
          ? "powered since"
          : any
            ? "above 60 V"
            : "not measured";
    const last = capacitors.filter(({ at }) => at).sort((a, b) => b.at - a.at)[0];
    const words = last
      ? `${last.part} ${last.volts} V at ${new Date(last.at).toTimeString().slice(0, 5)}`
      : "";
    return { state, measured_below_60: low, words, oldest_at: null, capacitors };
  }
  view(job) {
    const all = this.standing(job);
    const bodies = (kind) =>
      this.of(job, kind).map((fact) => ({ ...fact.body, fact: fact.id, when: fact.at }));
    const last = (kind) => this.of(job, kind).at(-1);
    const take = last("take in").body;
    const amp = this.ampOf(job);
    const stage = last("stage")?.body.stage ?? "make safe";
    const power = last("power");
    const looks = new Map(
      bodies("look").map((look) => [
        look.part,
        { state: null, condition: [], code: null, note: null, ...look },
      ]),
    );
    return {
      job: Number(job),
      number: Number(job),
      opened: this.jobs.get(Number(job)).opened,
      closed: last("hand back")?.at ?? null,
      stage,
      next: NEXT[stage] ?? `Next: ${stage}.`,
      ...take,
      amp: {
        name: take.amp,
        title: amp?.title ?? null,
        family: amp?.family ?? null,
        story: amp?.story ?? null,
        library: !!amp,
        drawn: !!amp,
        transformerless: !!amp?.transformerless,
      },
      powered: { on: power?.body.on ?? false, at: power?.at ?? null, ever: !!power },
      drained: this.drained(job, power),
      cord: last("cord")?.body ?? null,
      looks: [...looks.values()],
      edits: bodies("edit"),
      readings: {
        before: bodies("reading").filter(({ phase }) => phase === "before"),
        after: bodies("reading").filter(({ phase }) => phase === "after"),
      },
      decisions: bodies("decision"),
      estimate: bodies("estimate").at(-1) ?? null,
      acceptance: bodies("acceptance").at(-1) ?? null,
      work: bodies("work"),
      minutes: bodies("work").reduce((sum, { minutes }) => sum + (minutes ?? 0), 0),
      checks: bodies("check"),
      soak: last("soak")?.body ?? null,
      notes: bodies("note"),
      photos: bodies("photo"),
      hand_back: last("hand back")?.body ?? null,
      invoice: last("invoice")?.body ?? null,
      facts: all.length,
      last: this.facts(job).at(-1).id,
    };
  }
  search(words, open, most) {
    const rows = [...this.jobs.keys()]
      .map((job) => this.view(job))
      .map((view) => ({
        job: view.job,
        number: view.number,
        owner: view.owner,
        amp: view.amp.name,
        complaint: view.complaint,
        stage: view.stage,
        opened: view.opened,
        closed: view.closed,
        found: view.hand_back?.found ?? null,
      }));
    const hit = (row) =>
      words
        .toLowerCase()
        .split(/\s+/)
        .every((word) => JSON.stringify(row).toLowerCase().includes(word));
    return rows
      .filter((row) => hit(row) && (!open || !row.closed))
      .reverse()
      .slice(0, most);
  }
  safety(job) {
    if (!this.ampOf(job))
      throw Object.assign(new Error("This job's amp has no drawing yet."), {
        remedy: "Save one of that name in the amp library.",
      });
    const capacitors = this.drained(job).capacitors.map(
      ({ part, node, value, rating, expected_volts: volts }) => {
        const c = farads(value);
        return {
          part,
          node,
          other: "ground",
          negative: false,
          farads: c,
          rating_v: rating,
          volts,
          joules: (c * volts * volts) / 2,
          seconds_to_60: 470 * c * Math.log(volts / 60),
          seconds_to_1: 470 * c * Math.log(volts),
          peak_watts: (volts * volts) / 470,
        };
      },
    );
    return {
      through_ohms: 470,
      hold_s: 5,
      joules: capacitors.reduce((sum, one) => sum + one.joules, 0),
      capacitors,
      warning: this.ampOf(job).transformerless
        ? "This amp has no power transformer. The mains is in the circuit, and the chassis may be live even when the amp is off."
        : null,
      steps: [
        "Switch off. Pull the mains plug and lay it where you can see it.",
        "Clip the meter's black lead to the chassis. Range: 500 V DC or more.",
        "One hand in your pocket. Touch the red probe to the positive of each filter capacitor and read.",
        "Clip the resistor, 470 ohm, to the chassis. Hold its other end on the positive for some seconds, by an insulated clip.",
        "Take the resistor off and read again. Still 60 V or more: once more.",
        "Record each reading. Near zero is the aim.",
        "Wait a minute and read once more: an electrolytic creeps back.",
      ],
    };
  }
  differences(job) {
    return this.of(job, "edit")
      .filter(({ body }) => body.phase === "found")
      .map(({ body }) => ({
        ...body,
        undo:
          body.does === "change"
            ? `${body.part}: put ${body.from ?? "what is drawn"} back in place of ${body.to}.`
            : body.does === "remove"
              ? `${body.part}: put it back.`
              : `${body.part}: take it out.`,
      }));
  }
  dates(job) {
    const codes = this.view(job)
      .looks.filter(({ code }) => code)
      .map(({ part, code }) => {
        const [, maker, digit, week] = /^(\d{3})-?(\d)(\d\d)$/.exec(code) ?? [];
        return {
          part,
          code,
          maker: maker ?? null,
          year_digit: digit ?? null,
          week: week ? Number(week) : null,
          problem: digit ? null : `“${code}” is no EIA date code`,
          years: digit ? [1950, 1960, 1970].map((year) => year + Number(digit)) : [],
        };
      });
    return {
      codes,
      earliest: codes.length ? 1957 : null,
      outliers: [],
      words: codes.length
        ? "The codes agree on 1957 or later."
        : "No date code noted yet. Each part's code narrows the year.",
    };
  }
  keepPhoto(body) {
    const hash = createHash("sha256").update(body).digest("hex");
    this.photos.set(hash, body);
    return hash;
  }
}

export function seed(shop) {
  const hour = 3_600_000;
  const now = Date.now();
  const first = shop.open(
    {
      owner: "Ines Okafor",
      contact: "by telephone",
      complaint: "Gets quieter after twenty minutes, then hums. Smelled hot on Saturday.",
      keep: "as original as can be",
      accessories: ["cover"],
      amp: "wren-hollow",
    },
    now - 50 * hour,
  );
  shop.add(first, { kind: "drain", body: { at: "C8", volts: 0.6, through: 470 } }, now - 2 * hour);
  shop.add(
    first,
    { kind: "drain", body: { at: "C9", volts: 0.4, through: 470 } },
    now - 2 * hour + 60_000,
  );
  shop.add(
    first,
    { kind: "drain", body: { at: "C10", volts: 1.1, through: 470 } },
    now - 2 * hour + 120_000,
  );
  shop.add(first, { kind: "cord", body: { wires: 2, chassis_capacitor: true } }, now - hour);
  shop.add(
    first,
    { kind: "look", body: { part: "C6", state: "original", condition: ["fine"], code: "235-724" } },
    now - hour,
  );
  shop.add(
    first,
    {
      kind: "look",
      body: { part: "C10", state: "original", condition: ["bulged", "leaking"], code: "235-731" },
    },
    now - hour,
  );
  shop.add(
    first,
    {
      kind: "edit",
      body: {
        phase: "found",
        part: "R12",
        key: "value",
        from: "470",
        to: "330",
        does: "change",
        reason: "more volume",
      },
    },
    now - hour,
  );
  shop.add(
    first,
    { kind: "reading", body: { phase: "before", at: "V2.5", volts: 3.8 } },
    now - hour,
  );
  shop.add(first, { kind: "stage", body: { stage: "measure" } }, now - hour);
  shop.open(
    { owner: "Tomas Lindqvist", complaint: "Tremolo stopped.", keep: "gig-safe", amp: "millrace" },
    now - 26 * hour,
  );
  shop.open(
    {
      owner: "Wanda Brook",
      complaint: "Buzzes when I touch the strings; got a tingle once.",
      amp: "porchlight",
    },
    now - 3 * hour,
  );
  const done = shop.open(
    { owner: "Choir of St Alban", complaint: "No sound.", amp: "choirloft" },
    now - 400 * hour,
  );
  shop.add(done, { kind: "stage", body: { stage: "done" } }, now - 300 * hour);
  shop.add(
    done,
    {
      kind: "hand back",
      body: { found: "C13 shorted, and took L2 with it", done: "both replaced" },
    },
    now - 300 * hour,
  );
}
