// The amp library: all amps; and one: its chart, its tubes, its file, how those that came differed.
import "../css/library.css";
import { useState } from "preact/hooks";
import { useKeys } from "../keys";
import { go, useResource } from "../store";
import type { AmpRow, LibraryAmp } from "../types";
import { Choice, Field, Link } from "../ui/controls";
import { From, Panel, Problem } from "../ui/frame";
import { Badge } from "../ui/marks";
import { LibraryChart } from "./library-chart";
import { LibraryCompare } from "./library-compare";
import { LibraryTubes } from "./library-curves";
import { CopyAmp, LibraryFile } from "./library-file";
import { LibraryHum } from "./library-hum";
import { LibraryResponse } from "./library-response";
import { LibraryTremolo } from "./library-tremolo";
import type { Page } from ".";

function Library({ rest }: { rest: string[] }) {
  const [name, tab] = rest;
  return name ? <OneAmp key={name} name={name} tab={tab ?? "chart"} /> : <AllAmps />;
}

/* ---- all of them ------------------------------------------------------------------------------------- */

const matches = (row: AmpRow, words: string): boolean =>
  words
    .toLowerCase()
    .split(/\s+/)
    .every((word) =>
      `${row.name} ${row.amp ?? ""} ${row.family ?? ""}`.toLowerCase().includes(word),
    );

function AllAmps() {
  const amps = useResource<AmpRow[]>("/api/amps");
  const [words, setWords] = useState("");
  return (
    <Panel title="Amps" lead="The library’s, and the shop’s own.">
      <Field
        type="search"
        label="Search: name or kind of circuit"
        value={words}
        onInput={setWords}
      />
      <From of={amps} lines={8}>
        {(rows) => {
          const shown = rows.filter((row) => matches(row, words));
          return shown.length ? (
            <ul class="amps">
              {shown.map((row) => (
                <li key={row.name}>
                  <AmpLine row={row} />
                </li>
              ))}
            </ul>
          ) : (
            <p class="empty">No such amp. Fewer letters find more.</p>
          );
        }}
      </From>
    </Panel>
  );
}

function AmpLine({ row }: { row: AmpRow }) {
  return (
    <a class="amp-line" href={`#/amps/${encodeURIComponent(row.name)}`}>
      <span class="amp-what">
        <span class="amp-title">{row.amp ?? row.name}</span>
        <span class="dim">{row.name}</span>
      </span>
      <span class="amp-story">
        <span>{row.family}</span>
        <span class="amp-words dim">{row.story}</span>
      </span>
      <span>{row.own && <Badge shape="square">the shop’s own</Badge>}</span>
    </a>
  );
}

/* ---- one ---------------------------------------------------------------------------------------------- */

const TABS = [
  { value: "chart", words: "Chart" },
  { value: "tubes", words: "Tubes" },
  { value: "response", words: "Response" },
  { value: "hum", words: "Hum" },
  { value: "tremolo", words: "Tremolo" },
  { value: "file", words: "File" },
  { value: "compare", words: "As drawn, as found" },
] as const;
type Tab = (typeof TABS)[number]["value"];

const ON_MAINS =
  "This amp has no power transformer. The mains is in the circuit, and the chassis may be live even when it is off.";

function OneAmp({ name, tab }: { name: string; tab: string }) {
  const amp = useResource<LibraryAmp>(`/api/amps/${encodeURIComponent(name)}`);
  const shown = TABS.find(({ value }) => value === tab)?.value ?? "chart";
  useKeys("Amp", [
    { key: "ArrowLeft", does: "all amps", run: () => go("amps") },
    ...TABS.map(({ value, words }, at) => ({
      key: String(at + 1),
      does: words,
      run: () => go("amps", name, value),
    })),
  ]);
  return (
    <Panel
      title={amp.data?.amp ?? name}
      lead={amp.data?.family}
      tools={
        <div class="row">
          <Link to="amps" kind="button">
            All amps
          </Link>
          {amp.data && <CopyAmp amp={amp.data} />}
        </div>
      }
    >
      <From of={amp} lines={10}>
        {(found) => (
          <>
            {found.transformerless && (
              <Problem faults={[{ code: "suspicious", cause: ON_MAINS }]} />
            )}
            <p class="amp-tale">{found.story}</p>
            <Choice
              label="Show"
              hideLabel
              options={TABS}
              value={shown}
              onChoose={(value) => go("amps", name, value)}
            />
            <TabOf amp={found} tab={shown} />
          </>
        )}
      </From>
    </Panel>
  );
}

function TabOf({ amp, tab }: { amp: LibraryAmp; tab: Tab }) {
  if (tab === "file") return <LibraryFile key={amp.name} amp={amp} />;
  if (tab === "compare") return <LibraryCompare amp={amp} />;
  if (!amp.chart)
    return (
      <>
        <p class="empty">This file cannot be worked out yet. “File” shows where it goes wrong.</p>
        <Problem faults={amp.errors} />
      </>
    );
  if (tab === "tubes") return <LibraryTubes amp={amp.name} tubes={amp.tubes} />;
  if (tab === "response") return <LibraryResponse amp={amp.name} />;
  if (tab === "hum") return <LibraryHum amp={amp.name} />;
  if (tab === "tremolo") return <LibraryTremolo amp={amp.name} />;
  return <LibraryChart chart={amp.chart} parts={amp.parts} />;
}

export const library: Page = { id: "amps", title: "Amps", key: "a", view: Library };
