// The library's amps, read just far enough for the page to have parts to show.
import { readFileSync, readdirSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { parse } from "yaml";

const folder = fileURLToPath(new URL("../../data/amps/", import.meta.url));
const KINDS = {
  tubes: "tube",
  resistors: "resistor",
  capacitors: "capacitor",
  inductors: "inductor",
  pots: "pot",
  switches: "switch",
  jacks: "jack",
  fuses: "fuse",
  lamps: "lamp",
};

const rating = (part) =>
  part.volts
    ? `${part.volts} V`
    : part.watts
      ? `${part.watts} W`
      : part.amps
        ? `${part.amps} A`
        : null;

function partsOf(amp) {
  return Object.entries(KINDS).flatMap(([group, kind]) =>
    Object.entries(amp[group] ?? {}).map(([name, part]) => ({
      name,
      kind,
      value: part.value ? String(part.value) : (part.type ?? null),
      what: part.does ?? null,
      material: part.kind ?? null,
      original: part.original ?? null,
      sits: part.sits ?? null,
      rating: rating(part),
      nodes: part.at ?? [],
    })),
  );
}

export function library() {
  const amps = new Map();
  for (const file of readdirSync(folder)) {
    const text = readFileSync(folder + file, "utf8");
    const amp = parse(text);
    const name = file.replace(".yaml", "");
    amps.set(name, {
      name,
      title: amp.amp,
      family: amp.family,
      story: amp.story,
      text,
      tubes: amp.tubes,
      transformerless: !amp["power transformer"],
      parts: partsOf(amp),
    });
  }
  return amps;
}
