// The panels of a job, in the order of work. A panel is one file here; this list is all that has to
// know of it.
import type { ComponentType } from "preact";
import type { Stage, View } from "../types";
import { decide } from "./decide";
import { find } from "./find";
import { handBack } from "./hand-back";
import { lookOver } from "./look-over";
import { makeSafe } from "./make-safe";
import { measure } from "./measure";
import { prove } from "./prove";
import { repair } from "./repair";
import { takeIn } from "./take-in";

export interface Panel {
  id: string; // in the address: #/jobs/12/make-safe
  stage: Exclude<Stage, "done">; // the step that it serves
  title: string;
  key: string; // the single key that opens it: its place in the order of work
  view: ComponentType<{ view: View }>;
}

export const panels: Panel[] = [
  takeIn,
  makeSafe,
  lookOver,
  measure,
  find,
  decide,
  repair,
  prove,
  handBack,
];
