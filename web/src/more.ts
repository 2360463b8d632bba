// What the first picture does without, in one file: together they compress best.
export { Fuses } from "./panels/paper-fuse";
export { Margins } from "./panels/paper-margins";
export { Swap } from "./panels/paper-swap";
