// The cart's live feed: a stream that comes back by itself, or a question a second when all places are taken.
const QUIET_MS = 3500;
const AGAIN_MS = 1000;
// Out of reach it tries often and waits little for each try, so that it is back within two seconds of the cart.
const PATIENCE_MS = 1000;
const AWAY_AGAIN_MS = 400;
const LOOK_MS = 250;

export class LiveFeed {
  constructor(on) {
    this.on = on; // {now, alert, stage, session, link}
    this.lastId = null;
    this.heard = performance.now();
    this.everHeard = false;
    setInterval(() => this.watch(), LOOK_MS);
    document.addEventListener("visibilitychange", () => document.hidden || this.wake());
    addEventListener("online", () => this.wake());
    addEventListener("offline", () => this.on.link("away", 0));
    addEventListener("pagehide", () => this.stop());
    addEventListener("pageshow", (event) => event.persisted && this.wake());
    this.ask(); // the page has sent for it already, so that it is here before the stream can be
    this.open();
  }

  open() {
    this.stop();
    this.opened = performance.now();
    const id = this.lastId ?? (this.everHeard ? "none" : null);
    this.source = new EventSource("/api/feed" + (id === null ? "" : "?last_event_id=" + encodeURIComponent(id)));
    for (const kind of ["now", "alert", "stage", "session"]) {
      this.source.addEventListener(kind, (event) => this.take(kind, event));
    }
    this.source.onerror = () => this.lost();
  }

  stop() {
    this.source?.close();
    this.source = null;
    clearTimeout(this.again);
    this.again = null;
  }

  take(kind, event) {
    this.hear();
    if (event.lastEventId) this.lastId = event.lastEventId;
    this.on[kind](JSON.parse(event.data));
  }

  hear() {
    this.heard = performance.now();
    this.everHeard = true;
    this.on.link("live", 0);
  }

  // A stream that was refused, broke off or never came: ask once for the figures, then try again. One that the cart
  // ended in good order, as it does every minute, is taken up at once.
  lost() {
    this.stop();
    const ended = performance.now() - this.heard < 600 && performance.now() - this.opened > 5000;
    this.again = setTimeout(() => this.open(), ended ? 50 : this.quiet < QUIET_MS ? AGAIN_MS : AWAY_AGAIN_MS);
    if (!ended) this.ask();
  }

  async ask() {
    try {
      const answer = await fetch("/api/now", { signal: AbortSignal.timeout(QUIET_MS) });
      if (!answer.ok) return;
      const now = await answer.json();
      this.hear();
      this.on.now(now);
    } catch {
      this.watch();
    }
  }

  get quiet() {
    return performance.now() - this.heard;
  }

  // A stream that says nothing any more is as good as none, and so is one that does not come.
  watch() {
    if (this.quiet < QUIET_MS) return;
    this.on.link("away", this.quiet / 1000);
    if (!this.again && performance.now() - this.opened > PATIENCE_MS) this.lost();
  }

  wake() {
    this.lost();
  }
}
