// The tremolo in words: does it start, how fast, what can stop it.
import { useSteady } from "../store";
import type { Tremolo, TremoloPart } from "../types";
import { From, Section } from "../ui/frame";
import { hertz } from "../units";
import { Controls, pathOf, useTurned } from "./library-controls";

export function LibraryTremolo({ amp }: { amp: string }) {
  const turned = useTurned(amp);
  const tremolo = useSteady<Tremolo>(pathOf(amp, "tremolo", turned.query));
  return (
    <>
      <From of={tremolo} lines={10}>
        {(data) => (
          <>
            <Oscillator data={data} />
            {GROUPS.map((group) => (
              <Group key={group.title} {...group} parts={data.parts} />
            ))}
            <Others data={data} />
          </>
        )}
      </From>
      <Controls amp={amp} turned={turned} />
    </>
  );
}

function Oscillator({ data: { oscillator, words } }: { data: Tremolo }) {
  return (
    <div class="tremolo-words">
      {oscillator && (
        <h2>
          {oscillator.tube} {oscillator.type}{" "}
          <span class="dim">{[oscillator.unit, oscillator.does].filter(Boolean).join(", ")}</span>
        </h2>
      )}
      {words.map((line) => (
        <p key={line}>{line}</p>
      ))}
    </div>
  );
}

interface GroupKind {
  title: string;
  holds: (part: TremoloPart) => boolean;
}

const GROUPS: GroupKind[] = [
  {
    title: "What can stop it",
    holds: ({ control, effect }) => !control && effect === "stops",
  },
  {
    title: "It runs, but the output tubes hardly swing",
    holds: ({ control, effect }) => !control && effect === "unheard",
  },
  {
    title: "What changes its speed",
    holds: ({ control, effect }) => !control && (effect === "slower" || effect === "faster"),
  },
  { title: "Its controls", holds: ({ control }) => control },
];

/** "open", "half as much again: 3.3 a second", "turned down: hardly heard". */
function upsetWords({ what, control, effect, hertz: speed }: TremoloPart): string {
  if (effect === "slower" || effect === "faster")
    return `${what}: ${Number(speed?.toPrecision(2))} a second`;
  if (!control) return what;
  return effect === "stops"
    ? `${what}: it stops`
    : effect === "unheard"
      ? `${what}: hardly heard`
      : what;
}

function Group({ title, holds, parts }: GroupKind & { parts: TremoloPart[] }) {
  const lines = new Map<string, { about: string; upsets: string[] }>();
  for (const part of parts.filter(holds)) {
    const line = lines.get(part.part) ?? { about: part.about, upsets: [] };
    line.upsets.push(upsetWords(part));
    lines.set(part.part, line);
  }
  if (!lines.size) return null;
  return (
    <Section title={title}>
      <ul class="upsets">
        {[...lines].map(([part, { about, upsets }]) => (
          <li key={part}>
            <strong>{part}</strong>
            <span class="dim">{about}</span>
            <span>{upsets.join("; ")}</span>
          </li>
        ))}
      </ul>
    </Section>
  );
}

function Others({ data: { others } }: { data: Tremolo }) {
  return (
    <Section title="What else swings by itself">
      {others.length ? (
        others.map((other) => (
          <p key={other.hertz}>
            {hertz(other.hertz)}: {other.words}
          </p>
        ))
      ) : (
        <p>Nothing, at these controls.</p>
      )}
    </Section>
  );
}
