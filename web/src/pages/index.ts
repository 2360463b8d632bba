// The pages beside the jobs: one file each, chosen by the first word of the address.
import type { ComponentType } from "preact";
import { bench } from "./bench";
import { library } from "./library";
import { newJob } from "./new";
import { shopPage } from "./shop";

export interface Page {
  id: string; // the first word of the address; "" is the front page
  title: string;
  key: string;
  view: ComponentType<{ rest: string[] }>; // the further words of the address
}

export const pages: Page[] = [bench, newJob, library, shopPage];
