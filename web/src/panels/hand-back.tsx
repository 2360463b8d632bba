// Hand back: the words of the report, the invoice, the papers, and the end of the visit.
import "../css/hand-back.css";
import { record } from "../facts";
import { useDraft, useResource } from "../store";
import type { Compare, JobAmp, Part, Shop, View } from "../types";
import { Button, Field } from "../ui/controls";
import { From, Panel as Frame, Section } from "../ui/frame";
import { Badge } from "../ui/marks";
import { when } from "../units";
import { InvoiceForm } from "./hand-back-invoice";
import { wordsOf, type Words } from "./hand-back-words";
import type { Panel } from ".";

function HandBackPanel({ view }: { view: View }) {
  const amp = useResource<JobAmp>(`/api/jobs/${view.job}/amp?as=repaired`);
  const compare = useResource<Compare>(`/api/jobs/${view.job}/compare`);
  const shop = useResource<Shop>("/api/shop");
  const settled = amp.data !== null && (compare.data !== null || compare.faults !== null);
  return (
    <Frame title="Hand back" lead="The owner reads it; so does the next technician.">
      <div class="hand-back">
        <From of={amp} lines={8}>
          {({ parts }) => settled && <WordsForm view={view} parts={parts} compare={compare.data} />}
        </From>
        <div>
          <Papers view={view} />
          <From of={shop} lines={5}>
            {(rates) => <InvoiceForm view={view} shop={rates} />}
          </From>
        </div>
      </div>
    </Frame>
  );
}

/* ---- the words ---------------------------------------------------------------------------------------------- */

const FIELDS: [keyof Words, string, number, string][] = [
  ["found", "Found", 3, ""],
  ["done", "Done", 4, ""],
  ["kept", "Kept, and why", 2, ""],
  ["cautions", "Cautions", 3, "What the owner must know before switching on"],
  ["advice", "Advice", 2, ""],
];

interface FormProps {
  view: View;
  parts: Part[];
  compare: Compare | null;
}

function begin({ view, parts, compare }: FormProps): Words {
  const given = view.hand_back;
  const fresh = wordsOf(view, parts, compare);
  if (!given) return fresh;
  const keys = Object.keys(fresh) as (keyof Words)[];
  return Object.fromEntries(keys.map((key) => [key, given[key] ?? ""])) as Words;
}

function bodyOf(words: Words): Record<string, string> {
  const entries = Object.entries(words).map(([key, text]) => [key, text.trim()] as const);
  return Object.fromEntries(entries.filter(([, text]) => text));
}

function WordsForm(props: FormProps) {
  const { view, parts } = props;
  const draft = useDraft<Words>(`hand back ${view.job}`, begin(props));
  const { value: words, set } = draft;
  const lacks = !words.found.trim()
    ? "Write what was found."
    : !words.done.trim()
      ? "Write what was done."
      : null;
  const keep = () => {
    void record(view.job, "hand back", bodyOf(words), { words: "handed back" });
    draft.clear();
  };
  return (
    <div>
      {FIELDS.map(([key, label, lines, hint]) => (
        <Field
          key={key}
          label={label}
          lines={lines}
          hint={hint || undefined}
          required={key === "found" || key === "done"}
          value={words[key]}
          onInput={(text) => set({ [key]: text })}
        />
      ))}
      <Cause words={words} set={set} parts={parts} />
      <div class="foot">
        <Button kind="main" disabled={!!lacks} onClick={keep}>
          {view.hand_back ? "Record it anew: handed back" : "Mark it handed back"}
        </Button>
        <Button kind="quiet" onClick={() => set(wordsOf(view, parts, props.compare))}>
          Words from the facts
        </Button>
      </div>
      <Closed view={view} lacks={lacks} />
    </div>
  );
}

interface CauseProps {
  words: Words;
  set: (change: Partial<Words>) => void;
  parts: Part[];
}

/** What the shop's own counts are made of. */
function Cause({ words, set, parts }: CauseProps) {
  return (
    <div class="pair">
      <Field
        label="The part to blame"
        value={words.cause_part ?? ""}
        list={parts.map(({ name }) => name)}
        onInput={(cause_part) => set({ cause_part })}
        hint="This shop’s counts are made of it"
      />
      <Field
        label="What was wrong with it"
        value={words.cause_what ?? ""}
        onInput={(cause_what) => set({ cause_what })}
      />
    </div>
  );
}

function Closed({ view, lacks }: { view: View; lacks: string | null }) {
  return (
    <p class="closed" role="status">
      {view.closed ? (
        <Badge shape="tick" tone="accent">
          Handed back {when(view.closed)}
        </Badge>
      ) : (
        <span class="dim">{lacks ?? "Each word can be changed. Then the visit is over."}</span>
      )}
    </p>
  );
}

/* ---- the papers --------------------------------------------------------------------------------------------- */

interface Paper {
  file: string;
  title: string;
  what: string;
  lacks?: (view: View) => boolean;
}

const PAPERS: Paper[] = [
  { file: "report.pdf", title: "Report", what: "for the owner and the next technician" },
  {
    file: "invoice.pdf",
    title: "Invoice",
    what: "once it is recorded",
    lacks: ({ invoice }) => !invoice,
  },
  { file: "chart.pdf?phase=after", title: "Chart sheet", what: "to lay into the amp" },
  { file: "readings.csv", title: "Readings", what: "as a table" },
];

function Papers({ view }: { view: View }) {
  return (
    <Section title="Papers">
      <ul class="papers">
        {PAPERS.map((paper) => (
          <li key={paper.file}>
            {paper.lacks?.(view) ? (
              <Button disabled>{paper.title}</Button>
            ) : (
              <a
                class="button plain"
                href={`/api/jobs/${view.job}/${paper.file}`}
                target="_blank"
                rel="noopener"
              >
                {paper.title}
              </a>
            )}
            <span class="dim">{paper.what}</span>
          </li>
        ))}
      </ul>
      <p class="dim">Each opens beside this page. The report has the words as last recorded.</p>
    </Section>
  );
}

export const handBack: Panel = {
  id: "hand-back",
  stage: "hand back",
  title: "Hand back",
  key: "9",
  view: HandBackPanel,
};
