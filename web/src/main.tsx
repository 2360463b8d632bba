import { render } from "preact";
import "./css/tokens.css";
import "./css/frame.css";
import "./css/controls.css";
import "./css/content.css";
import "./css/panels.css";
import { startKeys } from "./keys";
import { Shell } from "./shell";
import { start } from "./store";

// The script stands in the head: the theme is set before anything is painted.
start();
startKeys();
document.addEventListener("DOMContentLoaded", () =>
  render(<Shell />, document.getElementById("page")!),
);
