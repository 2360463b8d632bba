// The take-in form: for a new job and for correcting one.
import { useState } from "preact/hooks";
import { useResource, type Draft } from "../store";
import type { AmpRow } from "../types";
import { Choice, Chips, Field, Link } from "../ui/controls";
import { From } from "../ui/frame";

export interface TakeIn {
  owner: string;
  contact: string;
  complaint: string;
  keep: string;
  accessories: string[];
  amp: string;
  serial: string;
  year: string;
}

export const NOTHING: TakeIn = {
  owner: "",
  contact: "",
  complaint: "",
  keep: "",
  accessories: [],
  amp: "",
  serial: "",
  year: "",
};

const KEEP = ["as original as can be", "gig-safe"] as const;
const ACCESSORIES = [
  "mains cord",
  "foot switch",
  "cover",
  "spare tubes",
  "speaker lead",
  "back panel",
];

/** What is still missing, in words; null when the form can be recorded. */
export function missing(form: TakeIn): string | null {
  const lacks = [
    !form.amp && "the amp",
    !form.owner.trim() && "the owner",
    !form.complaint.trim() && "the complaint",
  ].filter(Boolean);
  if (lacks.length) return `Still needed: ${lacks.join(", ")}.`;
  if (form.year && !/^(19|20)\d\d$/.test(form.year.trim()))
    return "Write the year with four figures, or leave it empty.";
  return null;
}

/** The body of a `take in` fact: what was left empty is left out. */
export function takeInBody(form: TakeIn): Record<string, unknown> {
  const body: Record<string, unknown> = {
    owner: form.owner.trim(),
    complaint: form.complaint.trim(),
    amp: form.amp,
  };
  for (const key of ["contact", "keep", "serial"] as const)
    if (form[key].trim()) body[key] = form[key].trim();
  if (form.accessories.length) body.accessories = form.accessories;
  if (form.year.trim()) body.year = Number(form.year);
  return body;
}

export function TakeInForm({ draft }: { draft: Draft<TakeIn> }) {
  const { value: form, set } = draft;
  const keepWord = KEEP.find((word) => word === form.keep) ?? null;
  return (
    <div class="take-in">
      <div>
        <AmpPicker amp={form.amp} onPick={(amp) => set({ amp })} />
        <div class="pair">
          <Field label="Serial number" value={form.serial} onInput={(serial) => set({ serial })} />
          <Field short label="Year, if known" value={form.year} onInput={(year) => set({ year })} />
        </div>
      </div>
      <div>
        <div class="pair">
          <Field required label="Owner" value={form.owner} onInput={(owner) => set({ owner })} />
          <Field
            label="Contact"
            hint="Telephone, address"
            value={form.contact}
            onInput={(contact) => set({ contact })}
          />
        </div>
        <Field
          required
          lines={3}
          label="The complaint, in the owner's words"
          value={form.complaint}
          onInput={(complaint) => set({ complaint })}
        />
        <Choice
          label="What the owner wants kept"
          options={KEEP}
          value={keepWord}
          onChoose={(keep) => set({ keep })}
        />
        <Field label="Or in words" value={form.keep} onInput={(keep) => set({ keep })} />
        <Chips
          label="Came with"
          options={[...new Set([...ACCESSORIES, ...form.accessories])]}
          value={form.accessories}
          onChange={(accessories) => set({ accessories })}
        />
        <OtherAccessory
          onAdd={(word) => set({ accessories: [...new Set([...form.accessories, word])] })}
        />
      </div>
    </div>
  );
}

function OtherAccessory({ onAdd }: { onAdd: (word: string) => void }) {
  const [word, setWord] = useState("");
  const add = () => {
    if (word.trim()) onAdd(word.trim());
    setWord("");
  };
  return (
    <Field
      label="Something else"
      hint="Enter adds it"
      value={word}
      onInput={setWord}
      onEnter={add}
    />
  );
}

const matches = (amp: AmpRow, words: string): boolean =>
  words
    .toLowerCase()
    .split(/\s+/)
    .every((word) => `${amp.name} ${amp.family} ${amp.story}`.toLowerCase().includes(word));

function AmpPicker({ amp, onPick }: { amp: string; onPick: (name: string) => void }) {
  const amps = useResource<AmpRow[]>("/api/amps");
  const [words, setWords] = useState("");
  return (
    <fieldset class="picker">
      <legend>
        The amp<span class="must"> needed</span>
      </legend>
      <Field type="search" label="Find in the library" value={words} onInput={setWords} />
      <From of={amps} lines={5}>
        {(rows) => (
          <div class="picker-list" tabIndex={-1}>
            {rows
              .filter((row) => row.name === amp || matches(row, words))
              .map((row) => (
                <label key={row.name} class={row.name === amp ? "on" : undefined}>
                  <input
                    type="radio"
                    name="amp"
                    checked={row.name === amp}
                    onChange={() => onPick(row.name)}
                  />
                  <span>
                    <span class="picker-name">{row.name}</span>
                    {row.own && <span class="dim"> this shop's</span>}
                    <span class="picker-family">{row.family}</span>
                  </span>
                </label>
              ))}
          </div>
        )}
      </From>
      <p class="dim">
        Not there? Copy the nearest one in the <Link to="amps">amp library</Link> and change it.
      </p>
    </fieldset>
  );
}
