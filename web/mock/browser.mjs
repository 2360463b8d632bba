// How Chromium is started here: quiet, with nothing fetched in the background.
const FLAGS = [
  "--no-sandbox",
  "--disable-gpu",
  "--disable-quic",
  "--no-first-run",
  "--disable-background-networking",
  "--disable-component-update",
  "--disable-sync",
];
export const BROWSER = { executablePath: "/usr/bin/chromium", args: FLAGS };
