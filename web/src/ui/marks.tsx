// Marks that say a thing by shape and word as well as colour.
import type { ComponentChildren } from "preact";

export type Shape =
  "dot" | "ring" | "up" | "down" | "hazard" | "bolt" | "square" | "tick" | "question" | "dash";

const PATHS: Record<Shape, ComponentChildren> = {
  dot: <circle cx="10" cy="10" r="6.500" fill="currentColor" />,
  ring: <circle cx="10" cy="10" r="6" fill="none" stroke="currentColor" stroke-width="2.500" />,
  up: <path d="M10 2.500 18.500 17h-17z" fill="currentColor" />,
  down: <path d="M10 17.500 18.500 3h-17z" fill="currentColor" />,
  hazard: (
    <>
      <path
        d="M10 1.800 19 17.800H1z"
        fill="none"
        stroke="currentColor"
        stroke-width="2.200"
        stroke-linejoin="round"
      />
      <path d="M10 7.200v5" stroke="currentColor" stroke-width="2.200" stroke-linecap="round" />
      <circle cx="10" cy="15" r="1.300" fill="currentColor" />
    </>
  ),
  bolt: <path d="M11.500 1 4 11.500h4.500L7.500 19 16 8h-5z" fill="currentColor" />,
  square: <rect x="4" y="4" width="12" height="12" fill="currentColor" />,
  tick: (
    <path
      d="m3.500 10.500 4.500 4.500 8.500-10"
      fill="none"
      stroke="currentColor"
      stroke-width="2.600"
      stroke-linecap="round"
      stroke-linejoin="round"
    />
  ),
  question: (
    <>
      <path
        d="M6.500 7a3.500 3.500 0 1 1 5 3.200c-1 .5-1.500 1-1.500 2.300"
        fill="none"
        stroke="currentColor"
        stroke-width="2.400"
        stroke-linecap="round"
      />
      <circle cx="10" cy="16.200" r="1.500" fill="currentColor" />
    </>
  ),
  dash: <path d="M4 10h12" stroke="currentColor" stroke-width="2.600" stroke-linecap="round" />,
};

export function Mark({ shape }: { shape: Shape }) {
  return (
    <svg class="mark" viewBox="0 0 20 20" aria-hidden="true" focusable="false">
      {PATHS[shape]}
    </svg>
  );
}

export type Tone = "plain" | "accent" | "hazard";

/** A shape and a word. The colour only underlines them. */
export function Badge({
  shape,
  tone = "plain",
  children,
}: {
  shape: Shape;
  tone?: Tone;
  children: ComponentChildren;
}) {
  return (
    <span class={`badge ${tone}`}>
      <Mark shape={shape} />
      <span>{children}</span>
    </span>
  );
}

/** A bar for a share of 0 to 1. Its number is written beside it: give it as children. */
export function Bar({
  share,
  tone = "accent",
  children,
}: {
  share: number;
  tone?: Tone;
  children: ComponentChildren;
}) {
  const width = `${Math.max(0, Math.min(1, share)) * 100}%`;
  return (
    <span class={`bar ${tone}`}>
      <span class="bar-way" aria-hidden="true">
        <span class="bar-fill" style={{ width }} />
      </span>
      <span key={String(children)} class="bar-word">
        {children}
      </span>
    </span>
  );
}
