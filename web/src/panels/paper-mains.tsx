// An old amp on today's mains: what it does to it, and each way to put it right.
import { useDraft, useResource } from "../store";
import type { MainsNow } from "../types";
import { NumberField } from "../ui/controls";
import { From, Section } from "../ui/frame";
import { Badge } from "../ui/marks";
import { arrow, quantity, readNumber, volts } from "../units";
import { Keep, type PaperProps } from "./paper";
import { marginWords, plain } from "./paper-words";

export function Mains({ view, as }: PaperProps) {
  const draft = useDraft(`paper mains ${view.job}`, { text: "", volts: 0 });
  const typed = readNumber(draft.value.text);
  const found = useResource<MainsNow>(
    `/api/jobs/${view.job}/mains?as=${as}${draft.value.volts ? `&volts=${draft.value.volts}` : ""}`,
  );
  return (
    <Section title="On today’s mains">
      <div class="pair">
        <NumberField
          label="At the wall"
          unit="V"
          text={draft.value.text}
          onInput={(text) => draft.set({ text })}
          onNumber={(value) => draft.set({ volts: value })}
          hint={typed.kind === "number" ? "Enter computes it" : "As the file has it, when empty"}
        />
      </div>
      <From of={found} lines={4}>
        {(data) => <Now view={view} data={data} />}
      </From>
    </Section>
  );
}

function Now({ view, data }: { view: PaperProps["view"]; data: MainsNow }) {
  const over = data.swap.broken.flatMap(({ after }) => (after ? [marginWords(after)] : []));
  return (
    <>
      <p>
        Drawn for {volts(data.drawn_v)} V, now on {volts(data.now_v)} V: heaters at{" "}
        {arrow(data.heater_drawn_percent, data.heater_now_percent, "%")} of their rating.
      </p>
      {over.map((words) => (
        <p key={words}>
          <Badge shape="hazard" tone="hazard">
            <strong>Then over:</strong> {words}
          </Badge>
        </p>
      ))}
      <ul class="remedies">
        {data.remedies.map((one) => (
          <li key={one.name}>
            <strong>{one.name}</strong>
            <span>
              {plain(one.fit)} Heaters {Math.round(one.heater_percent ?? 0)} %, supply{" "}
              {volts(one.supply_v)} V{one.burns_w ? `, it burns ${quantity(one.burns_w, "W")}` : ""}
              . <span class="dim">{one.note && plain(one.note)}</span>
            </span>
          </li>
        ))}
      </ul>
      <Keep
        view={view}
        what={`On ${volts(data.now_v)} V, drawn for ${volts(data.drawn_v)} V`}
        lines={[...over.slice(0, 8), ...data.remedies.map(({ fit }) => plain(fit)).slice(0, 3)]}
      />
    </>
  );
}
