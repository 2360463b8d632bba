// Where the probe goes, drawn: a socket from below with its pin marked, or what joins at the place.
import type { ComponentChildren } from "preact";
import { leadsOf } from "../parts";
import type { ChartLine, Part, Probe } from "../types";

/** Turn of a pin, clockwise from the key or the gap at the bottom, seen from below. An octal base
 * has its key between pins 8 and 1; noval and miniature leave one place of an even ring free. */
const turn = (pins: number, pin: number): number =>
  pins === 8 ? (pin - 0.5) / 8 : pin / (pins + 1);

const round = (value: number): number => Math.round(value * 10) / 10;

function spot(pins: number, pin: number, radius: number): [number, number] {
  const angle = 2 * Math.PI * turn(pins, pin);
  return [round(-radius * Math.sin(angle)), round(radius * Math.cos(angle))];
}

export interface Base {
  tube: string;
  base: string;
  pins: number;
  electrodes: Map<number, string>;
}

/** The sockets of a chart, by tube, with what is known of their pins. */
export function bases(lines: ChartLine[]): Map<string, Base> {
  const found = new Map<string, Base>();
  for (const { probe, what, at } of lines) {
    if (!probe) continue;
    const one = found.get(probe.tube) ?? { ...probe, electrodes: new Map() };
    one.electrodes.set(probe.pin, probe.electrode);
    found.set(probe.tube, one);
    if (what !== "heater") continue;
    for (const [, tube, pin] of at.matchAll(/(V\d+)\.(\d+)/g))
      if (tube === probe.tube) one.electrodes.set(Number(pin), "heater");
  }
  return found;
}

interface SocketProps {
  base: Base;
  pin: number;
  lead?: "red" | "black";
  onPin?: (at: string) => void; // on the practice bench: a pin that is clicked
}

/** The socket as the probe meets it. */
export function Socket({ base, pin, lead = "red", onPin }: SocketProps) {
  const { pins, tube } = base;
  const numbers = Array.from({ length: pins }, (_, at) => at + 1);
  const marked = base.electrodes.get(pin);
  const which = pin ? `: pin ${pin}${marked ? `, ${marked}` : ""}, ${lead} lead` : "";
  const words = `Socket of ${tube} from below, ${base.base}${which}`;
  return (
    <svg
      class="socket"
      viewBox="-100 -100 200 200"
      role={onPin ? "group" : "img"}
      aria-label={words}
    >
      <circle r="70" class="socket-rim" />
      {pins === 8 && <path class="socket-key" d="M-7 16.500A18 18 0 1 1 7 16.500V25H-7z" />}
      {pins !== 8 && <path class="socket-gap" d="M-15 68.400A70 70 0 0 0 15 68.400" />}
      {numbers.map((number) => (
        <Pin
          key={number}
          pins={pins}
          pin={number}
          marked={number === pin}
          electrode={base.electrodes.get(number)}
          at={`${tube}.${number}`}
          onPin={onPin}
        />
      ))}
    </svg>
  );
}

interface PinProps {
  pins: number;
  pin: number;
  marked: boolean;
  electrode: string | undefined;
  at: string;
  onPin?: (at: string) => void;
}

/** What makes a drawn pin one that can be pressed. */
const pressed = (at: string, onPin: (at: string) => void) => ({
  role: "button" as const,
  tabIndex: 0,
  "aria-label": `Probe on ${at}`,
  onClick: () => onPin(at),
  onKeyDown: (event: KeyboardEvent) => {
    if (event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault();
    onPin(at);
  },
});

function Pin({ pins, pin, marked, electrode, at, onPin }: PinProps) {
  const [x, y] = spot(pins, pin, 52);
  const [tx, ty] = spot(pins, pin, 86);
  const [ex, ey] = spot(pins, pin, 33);
  return (
    <g class={marked ? "pin marked" : "pin"} {...(onPin ? pressed(at, onPin) : {})}>
      {onPin && <circle cx={x} cy={y} r="17" class="pin-touch" />}
      <circle cx={x} cy={y} r={marked ? 11 : 5.5} />
      {marked && <circle cx={x} cy={y} r="4" class="pin-hole" />}
      <text x={tx} y={ty} class="pin-number">
        {pin}
      </text>
      {electrode && (
        <text x={ex} y={ey} class="pin-does">
          {SHORT[electrode.split(",")[0]!] ?? ""}
        </text>
      )}
    </g>
  );
}

// Letters beside the pins, as basing diagrams have them.
const SHORT: Record<string, string> = {
  plate: "P",
  grid: "G",
  screen: "G2",
  suppressor: "G3",
  cathode: "K",
  heater: "H",
};

/* ---- places that are no pin --------------------------------------------------------------------- */

/** The parts that join at a node, as far as the amp file says. */
export const partsAt = (parts: Part[], node: string): Part[] =>
  parts.filter((part) => leadsOf(part).some((one) => one.toLowerCase() === node.toLowerCase()));

/** A supply node or tie point: the parts whose leads meet there. */
export function NodeDrawing({ at, parts }: { at: string; parts: Part[] }) {
  const joined = partsAt(parts, at).slice(0, 4);
  const step = 160 / Math.max(1, joined.length);
  const words = `${at}: where ${joined.map(({ name }) => name).join(", ") || "its leads"} join`;
  return (
    <svg class="socket" viewBox="-100 -100 200 200" role="img" aria-label={words}>
      {joined.map((part, index) => (
        <Lead key={part.name} y={round(-80 + step * (index + 0.5))} part={part} />
      ))}
      <circle cx="-62" r="13" class="node-dot" />
      <circle cx="-62" r="4.500" class="pin-hole" />
    </svg>
  );
}

function Lead({ y, part }: { y: number; part: Part }) {
  return (
    <g>
      <path class="wire" d={`M-62 0 L-10 ${y}H4`} />
      <text x="12" y={y - 8} class="lead-name">
        {part.name}
      </text>
      <text x="12" y={y + 10} class="lead-value">
        {part.value ?? part.kind}
      </text>
    </g>
  );
}

/** Volts across a part: its two ends, with the lead that goes to each. */
export function AcrossDrawing({ part }: { part: Part }) {
  const [from = "one end", to = "other end"] = leadsOf(part);
  const words = `${part.name} ${part.value ?? ""}: red lead on ${from}, black lead on ${to}`;
  return (
    <svg class="socket" viewBox="-100 -100 200 200" role="img" aria-label={words}>
      <path class="wire" d="M0-72V-34M0 34V72" />
      <rect x="-17" y="-34" width="34" height="68" class="part-body" />
      <text y="0" class="across-name">
        {part.name}
      </text>
      <End y={-72} at={from} lead="red" />
      <End y={72} at={to} lead="black" />
    </svg>
  );
}

function End({ y, at, lead }: { y: number; at: string; lead: "red" | "black" }) {
  return (
    <g class={lead === "red" ? "pin marked" : "pin"}>
      <circle cy={y} r={lead === "red" ? 11 : 8} />
      <text x="20" y={y - 5} class="lead-name">
        {at}
      </text>
      <text x="20" y={y + 12} class="lead-value">
        {lead} lead
      </text>
    </g>
  );
}

/* ---- one drawing for any place ------------------------------------------------------------------- */

const PIN = /^(V\d+)\.(\d+)$/;

function pinOf(at: string, known: Map<string, Base>): { base: Base; pin: number } | null {
  const [, tube, pin] = PIN.exec(at) ?? [];
  const base = tube && known.get(tube);
  return base ? { base, pin: Number(pin) } : null;
}

interface PlaceProps {
  at: string;
  probe: Probe | null | undefined;
  known: Map<string, Base>;
  parts: Part[];
  onPin?: (at: string) => void;
}

const side = (
  at: string,
  lead: "red" | "black",
  { known, parts, onPin }: PlaceProps,
): ComponentChildren => {
  const pin = pinOf(at, known);
  return pin ? (
    <Socket {...pin} lead={lead} onPin={onPin} />
  ) : (
    <NodeDrawing at={at} parts={parts} />
  );
};

/** The place, drawn; two drawings where each lead goes to its own. */
export function PlaceDrawing(props: PlaceProps) {
  const { at, probe, known, parts } = props;
  const [red = at, black] = at.split("-");
  const part = parts.find(({ name }) => name === at);
  if (part) return <AcrossDrawing part={part} />;
  if (!black) {
    const base = probe && known.get(probe.tube);
    return base ? (
      <Socket base={base} pin={probe.pin} onPin={props.onPin} />
    ) : (
      <>{side(red, "red", props)}</>
    );
  }
  return (
    <div class="two-places">
      <figure>
        {side(red, "red", props)}
        <figcaption>red lead: {red}</figcaption>
      </figure>
      <figure>
        {side(black, "black", props)}
        <figcaption>black lead: {black}</figcaption>
      </figure>
    </div>
  );
}
