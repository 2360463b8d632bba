// Beside the parts: the cord, what the date codes say, and the way back to the drawing.
import { useState } from "preact/hooks";
import { record } from "../facts";
import { useDraft, useResource } from "../store";
import type { Dates, Difference, Fault, View } from "../types";
import { Button, Choice, Field } from "../ui/controls";
import { Dialog, From, Problem, Section } from "../ui/frame";
import { Badge } from "../ui/marks";
import { sentence } from "../units";
import { Odd, sendEdit } from "./edit-form";

export function Cord({ view }: { view: View }) {
  const { cord } = view;
  const keep = (wires: number, chassis: boolean | null) => {
    const body = chassis === null ? { wires } : { wires, chassis_capacitor: chassis };
    void record(view.job, "cord", body, { words: `cord with ${wires} wires` });
  };
  return (
    <div class="cord">
      <Choice
        label="Mains cord"
        value={cord ? (String(cord.wires) as "2" | "3") : null}
        options={[
          { value: "3", words: "3 wires" },
          { value: "2", words: "2 wires" },
        ]}
        onChoose={(wires) => keep(Number(wires), cord?.chassis_capacitor ?? null)}
      />
      <Choice
        label="Capacitor from mains to chassis"
        value={cord?.chassis_capacitor == null ? null : cord.chassis_capacitor ? "yes" : "no"}
        options={[
          { value: "no", words: "None" },
          { value: "yes", words: "There is one" },
        ]}
        onChoose={(word) => keep(cord?.wires ?? 2, word === "yes")}
      />
      <div class="cord-verdict">
        {cord && <CordVerdict wires={cord.wires} chassis={cord.chassis_capacitor} />}
      </div>
    </div>
  );
}

function CordVerdict({ wires, chassis }: { wires: number; chassis: boolean | null }) {
  if (wires >= 3 && !chassis)
    return (
      <Badge shape="dot" tone="accent">
        Earthed cord
      </Badge>
    );
  const words =
    wires >= 3
      ? "The capacitor to chassis has no place with an earthed cord: take it out."
      : chassis
        ? "Two wires, and a capacitor from mains to chassis: if it shorts, the chassis is live. Propose an earthed cord, and take the capacitor out."
        : "Two wires: a fault can make the chassis live. Propose an earthed cord.";
  return (
    <Badge shape="hazard" tone="hazard">
      {words}
    </Badge>
  );
}

interface CodeProps {
  code: Dates["codes"][number];
  outlier: Dates["outliers"][number] | undefined;
}

function Code({ code, outlier }: CodeProps) {
  return (
    <div>
      <dt>
        {code.part} <span class="dim">{code.code}</span>
      </dt>
      <dd>
        {code.problem ? (
          <Badge shape="question">{sentence(code.problem)}</Badge>
        ) : (
          <>
            {code.years.join(", ") || "no year fits"} <span class="dim">week {code.week}</span>
          </>
        )}
        {outlier && <Badge shape="hazard">{outlier.words}</Badge>}
      </dd>
    </div>
  );
}

export function DateCodes({ view }: { view: View }) {
  const dates = useResource<Dates>(`/api/jobs/${view.job}/dates`);
  return (
    <Section title="Date codes">
      <From of={dates}>
        {(found) => (
          <>
            <p class="dates-words">{found.words}</p>
            {found.earliest !== null && (
              <p class="dates-year">
                <span class="figure">{found.earliest}</span> at the earliest
              </p>
            )}
            <dl class="codes">
              {found.codes.map((code) => (
                <Code
                  key={code.part}
                  code={code}
                  outlier={found.outliers.find(({ part }) => part === code.part)}
                />
              ))}
            </dl>
          </>
        )}
      </From>
    </Section>
  );
}

export function Differences({ view }: { view: View }) {
  const list = useResource<Difference[]>(`/api/jobs/${view.job}/differences?from=drawn&to=found`);
  const [adding, setAdding] = useState(false);
  const [odd, setOdd] = useState<Fault[]>([]);
  return (
    <Section title="Back to the drawing">
      <From of={list}>
        {(rows) =>
          rows.length ? (
            <ul class="differences">
              {rows.map((row) => (
                <li key={`${row.part} ${row.key} ${row.does}`}>{sentence(row.undo)}</li>
              ))}
            </ul>
          ) : (
            <p class="dim">No difference recorded. “Not as drawn”, at a part, records one.</p>
          )
        }
      </From>
      <Button onClick={() => setAdding(true)}>A part that is not on the drawing</Button>
      <Odd faults={odd} />
      <AddPart
        view={view}
        open={adding}
        onClose={() => setAdding(false)}
        onAdded={(found) => {
          setOdd(found);
          setAdding(false);
        }}
      />
    </Section>
  );
}

const SECTIONS = [
  "resistors",
  "capacitors",
  "pots",
  "switches",
  "jacks",
  "inductors",
  "diodes",
  "fuses",
  "lamps",
  "tubes",
];

const NEW_PART = { part: "", section: "resistors", yaml: "", reason: "" };

interface AddProps {
  view: View;
  open: boolean;
  onClose: () => void;
  onAdded: (odd: Fault[]) => void;
}

function AddPart({ view, open, onClose, onAdded }: AddProps) {
  const draft = useDraft(`add ${view.job}`, NEW_PART);
  const [faults, setFaults] = useState<Fault[] | null>(null);
  const { part, section, yaml, reason } = draft.value;
  async function send(): Promise<void> {
    const { refused, odd } = await sendEdit(view, {
      phase: "found",
      does: "add",
      part: part.trim(),
      key: section.trim(),
      yaml: yaml.trim(),
      ...(reason.trim() && { reason: reason.trim() }),
    });
    setFaults(refused);
    if (refused) return;
    draft.clear();
    onAdded(odd);
  }
  return (
    <Dialog title="A part that is not on the drawing" open={open} onClose={onClose}>
      <div class="pair">
        <Field
          label="Its name"
          hint="The next free one: R31, C16"
          value={part}
          onInput={(text) => draft.set({ part: text })}
        />
        <Field
          label="It belongs to"
          list={SECTIONS}
          value={section}
          onInput={(text) => draft.set({ section: text })}
        />
      </div>
      <Field
        label="What it is, as an amp file has it"
        hint="{value: 100k, at: [V1.2, ground], watts: 0.5}"
        value={yaml}
        onInput={(text) => draft.set({ yaml: text })}
      />
      <Field
        label="Why, if you know"
        value={reason}
        onInput={(text) => draft.set({ reason: text })}
      />
      <Problem faults={faults} />
      <Button kind="main" disabled={!part.trim() || !yaml.trim()} onClick={() => void send()}>
        Record it
      </Button>
    </Dialog>
  );
}
