// Controls: each at least 48 px high, each with its own label, each by keyboard.
import type { ComponentChildren, Ref } from "preact";
import { useId, useState } from "preact/hooks";
import { readNumber, type Typed } from "../units";
import { Mark, type Shape } from "./marks";

interface ButtonProps {
  children: ComponentChildren;
  onClick?: () => void;
  kind?: "plain" | "main" | "quiet" | "hazard";
  shape?: Shape;
  type?: "button" | "submit";
  disabled?: boolean;
  label?: string; // what a screen reader says, where the words alone do not tell
  pressed?: boolean;
  wide?: boolean;
}

export function Button(props: ButtonProps) {
  const { kind = "plain", shape, children, type = "button", wide } = props;
  return (
    <button
      type={type}
      class={`button ${kind}${wide ? " wide" : ""}`}
      onClick={props.onClick}
      disabled={props.disabled}
      aria-label={props.label}
      aria-pressed={props.pressed}
    >
      {shape && <Mark shape={shape} />}
      <span>{children}</span>
    </button>
  );
}

export function Link({
  to,
  children,
  kind,
}: {
  to: string;
  children: ComponentChildren;
  kind?: "button" | "main";
}) {
  const look = kind ? `button ${kind === "main" ? "main" : "plain"}` : "link";
  return (
    <a class={look} href={`#/${to}`}>
      {children}
    </a>
  );
}

interface FieldProps {
  label: string;
  value: string;
  onInput: (text: string) => void;
  hint?: string;
  problem?: string | null;
  lines?: number;
  required?: boolean;
  type?: "text" | "search";
  list?: string[];
  onEnter?: () => void;
  inputRef?: Ref<HTMLInputElement>;
  short?: boolean;
}

/** A text field with its label above and a line kept free below for its hint or problem. */
export function Field(props: FieldProps) {
  const id = useId();
  const note = props.problem ?? props.hint;
  const shared = {
    id,
    value: props.value,
    required: props.required,
    "aria-invalid": props.problem ? true : undefined,
    "aria-describedby": note ? `${id}n` : undefined,
    autocomplete: "off",
    onInput: (event: { currentTarget: HTMLInputElement | HTMLTextAreaElement }) =>
      props.onInput(event.currentTarget.value),
  } as const;
  const enter = (event: KeyboardEvent) => {
    if (event.key !== "Enter" || !props.onEnter) return;
    event.preventDefault();
    props.onEnter();
  };
  return (
    <div class={`field${props.short ? " short" : ""}`}>
      <label for={id}>
        {props.label}
        {props.required && <span class="must"> needed</span>}
      </label>
      {props.lines ? (
        <textarea {...shared} rows={props.lines} spellcheck />
      ) : (
        <input
          {...shared}
          ref={props.inputRef}
          type={props.type ?? "text"}
          list={props.list && `${id}l`}
          onKeyDown={enter}
        />
      )}
      {props.list && (
        <datalist id={`${id}l`}>
          {props.list.map((word) => (
            <option value={word} />
          ))}
        </datalist>
      )}
      {(note || props.type !== "search") && (
        <Note id={`${id}n`} problem={!!props.problem} words={note} />
      )}
    </div>
  );
}

function Note({ id, problem, words }: { id: string; problem: boolean; words?: string | null }) {
  return (
    <div id={id} class={`note${problem ? " problem" : ""}`} role={problem ? "alert" : undefined}>
      {problem && <Mark shape="hazard" />}
      {words}
    </div>
  );
}

interface NumberProps {
  label: string;
  unit: string;
  text: string; // as typed: half a number is kept as it stands
  onInput: (text: string) => void;
  onNumber: (value: number) => void; // Enter, with a whole number in the field
  onPaste?: (text: string) => boolean; // true: taken (a column of readings)
  hint?: string;
  big?: boolean;
  inputRef?: Ref<HTMLInputElement>;
  hideLabel?: boolean;
}

const complaint = (typed: Typed): string | null =>
  typed.kind === "wrong" || typed.kind === "half" ? typed.words : null;

/** A number as the bench writes it. Complains about half a number only on Enter or on leaving. */
export function NumberField(props: NumberProps) {
  const id = useId();
  const [asked, ask] = useState(false);
  const typed = readNumber(props.text);
  const problem = asked || typed.kind === "wrong" ? complaint(typed) : null;
  const take = () => {
    ask(true);
    if (typed.kind === "number") props.onNumber(typed.value);
  };
  return (
    <div class={`field number${props.big ? " big" : ""}`}>
      <label for={id} class={props.hideLabel ? "unseen" : undefined}>
        {props.label}
      </label>
      <div class="number-box">
        <input
          id={id}
          ref={props.inputRef}
          value={props.text}
          inputMode="decimal"
          autocomplete="off"
          aria-invalid={problem ? true : undefined}
          aria-describedby={`${id}n`}
          onInput={(event) => {
            ask(false);
            props.onInput(event.currentTarget.value);
          }}
          onBlur={() => ask(true)}
          onKeyDown={(event) => event.key === "Enter" && (event.preventDefault(), take())}
          onPaste={(event) => {
            const text = event.clipboardData?.getData("text") ?? "";
            if (text.includes("\n") && props.onPaste?.(text)) event.preventDefault();
          }}
        />
        <span class="unit" aria-hidden="true">
          {props.unit}
        </span>
      </div>
      <Note id={`${id}n`} problem={!!problem} words={problem ?? props.hint} />
    </div>
  );
}

interface ChoiceProps<T extends string> {
  label: string;
  options: readonly (T | { value: T; words: string; shape?: Shape })[];
  value: T | null;
  onChoose: (value: T) => void;
  hideLabel?: boolean;
}

/** One of a few, side by side. Arrow keys move, as in any radio group. */
export function Choice<T extends string>(props: ChoiceProps<T>) {
  const name = useId();
  return (
    <fieldset class="choice">
      <legend class={props.hideLabel ? "unseen" : undefined}>{props.label}</legend>
      <div class="choice-row">
        {props.options.map((option) => {
          const { value, words, shape } =
            typeof option === "string"
              ? { value: option, words: option, shape: undefined }
              : option;
          return (
            <label key={value} class={value === props.value ? "on" : undefined}>
              <input
                type="radio"
                name={name}
                checked={value === props.value}
                onChange={() => props.onChoose(value)}
              />
              {shape && <Mark shape={shape} />}
              <span>{words}</span>
            </label>
          );
        })}
      </div>
    </fieldset>
  );
}

interface ChipsProps {
  label: string;
  options: readonly string[];
  value: readonly string[];
  onChange: (value: string[]) => void;
}

/** Any of a few. */
export function Chips({ label, options, value, onChange }: ChipsProps) {
  return (
    <fieldset class="choice chips">
      <legend>{label}</legend>
      <div class="choice-row">
        {options.map((word) => {
          const on = value.includes(word);
          return (
            <label key={word} class={on ? "on" : undefined}>
              <input
                type="checkbox"
                checked={on}
                onChange={() =>
                  onChange(on ? value.filter((other) => other !== word) : [...value, word])
                }
              />
              {on && <Mark shape="tick" />}
              <span>{word}</span>
            </label>
          );
        })}
      </div>
    </fieldset>
  );
}
