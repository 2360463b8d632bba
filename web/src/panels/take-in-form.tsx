// The take-in form: for a new job and for correcting one.
import { useEffect, useRef, useState } from "preact/hooks";
import { useResource, type Draft } from "../store";
import type { AmpRow } from "../types";
import { Choice, Chips, Field } from "../ui/controls";
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
    !form.amp.trim() && "the amp",
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
  return (
    <div class="take-in">
      <div>
        <AmpPicker amp={form.amp} onPick={(amp) => set({ amp })} />
        <div class="pair">
          <Field label="Serial number" value={form.serial} onInput={(serial) => set({ serial })} />
          <Field label="Year, if known" value={form.year} onInput={(year) => set({ year })} />
        </div>
      </div>
      <div>
        <Owner draft={draft} />
        <Field
          required
          lines={3}
          label="The complaint, in the owner's words"
          value={form.complaint}
          onInput={(complaint) => set({ complaint })}
        />
        <Keep keep={form.keep} onKeep={(keep) => set({ keep })} />
        <CameWith words={form.accessories} onChange={(accessories) => set({ accessories })} />
      </div>
    </div>
  );
}

function Owner({ draft: { value: form, set } }: { draft: Draft<TakeIn> }) {
  return (
    <div class="pair">
      <Field required label="Owner" value={form.owner} onInput={(owner) => set({ owner })} />
      <Field
        label="Contact"
        hint="Telephone, address"
        value={form.contact}
        onInput={(contact) => set({ contact })}
      />
    </div>
  );
}

const OWN_WORDS = "other words";

function Keep({ keep, onKeep }: { keep: string; onKeep: (words: string) => void }) {
  const known = KEEP.find((word) => word === keep);
  const [own, setOwn] = useState(keep !== "" && !known);
  const choose = (word: (typeof KEEP)[number] | typeof OWN_WORDS) => {
    setOwn(word === OWN_WORDS);
    onKeep(word === OWN_WORDS ? "" : word);
  };
  return (
    <>
      <Choice
        label="What the owner wants kept"
        options={[...KEEP, OWN_WORDS] as const}
        value={own ? OWN_WORDS : (known ?? null)}
        onChoose={choose}
      />
      {own && <Field label="In the owner's words" value={keep} onInput={onKeep} />}
    </>
  );
}

interface CameProps {
  words: string[];
  onChange: (words: string[]) => void;
}

function CameWith({ words, onChange }: CameProps) {
  const [other, setOther] = useState("");
  const add = () => {
    if (other.trim()) onChange([...new Set([...words, other.trim()])]);
    setOther("");
  };
  return (
    <>
      <Chips
        label="Came with"
        options={[...new Set([...ACCESSORIES, ...words])]}
        value={words}
        onChange={onChange}
      />
      <Field
        label="And something else"
        hint="Enter adds it"
        value={other}
        onInput={setOther}
        onEnter={add}
      />
    </>
  );
}

const matches = (amp: AmpRow, words: string): boolean =>
  words
    .toLowerCase()
    .split(/\s+/)
    .every((word) =>
      `${amp.name} ${amp.amp ?? ""} ${amp.family ?? ""} ${amp.story ?? ""}`
        .toLowerCase()
        .includes(word),
    );

function AmpPicker({ amp, onPick }: { amp: string; onPick: (name: string) => void }) {
  const amps = useResource<AmpRow[]>("/api/amps");
  const [words, setWords] = useState("");
  return (
    <fieldset class="picker">
      <legend>
        The amp<span class="must"> needed</span>
      </legend>
      <Field type="search" label="Find in the library" value={words} onInput={setWords} />
      <div class="picker-list" tabIndex={-1}>
        <From of={amps} lines={5}>
          {(rows) =>
            rows
              .filter((row) => row.name === amp || matches(row, words))
              .map((row) => (
                <AmpLine key={row.name} row={row} on={row.name === amp} onPick={onPick} />
              ))
          }
        </From>
      </div>
      <Field
        label="Not there? Name it"
        hint="Its drawing can come later, from the amp library"
        value={amps.data?.some((row) => row.name === amp) ? "" : amp}
        onInput={onPick}
      />
    </fieldset>
  );
}

interface LineProps {
  row: AmpRow;
  on: boolean;
  onPick: (name: string) => void;
}

function AmpLine({ row, on, onPick }: LineProps) {
  const line = useRef<HTMLLabelElement>(null);
  useEffect(() => {
    if (on) line.current?.scrollIntoView({ block: "nearest" });
  }, []); // the chosen one is in sight when the list opens
  return (
    <label ref={line} class={on ? "on" : undefined}>
      <input type="radio" name="amp" checked={on} onChange={() => onPick(row.name)} />
      <span>
        <span class="picker-name">{row.amp ?? row.name}</span>
        {row.own && <span class="dim"> this shop's</span>}
        <span class="picker-family">{row.family}</span>
        {on && <span class="picker-family">{row.story}</span>}
      </span>
    </label>
  );
}
