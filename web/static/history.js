// What the strip charts of the live page show: the last minutes as they come, or the whole session as the record has it.
import { Tail } from "./strips.js";

const WINDOW_S = 300;
const POINTS = 300;
const AGAIN_MS = 10_000;

async function readings(session, channel, from, to) {
  const path = `/api/sessions/${encodeURIComponent(session)}/readings?channel=${channel}&from_s=${from}&to_s=${to}&points=${POINTS}`;
  const answer = await fetch(path).catch(() => null);
  return answer?.ok ? answer.json() : null;
}

export class History {
  constructor(channels) {
    Object.assign(this, { channels, session: null, tails: {}, whole: {}, all: false, now_s: 0 });
    setInterval(() => this.all && !document.hidden && this.loadWhole(), AGAIN_MS);
  }

  begin(session, now_s, known) {
    Object.assign(this, { session, tails: {}, whole: {}, now_s });
    if (session && now_s > 0) for (const channel of this.channels) if (channel in known) this.backfill(channel, now_s);
  }

  async backfill(channel, until) {
    const session = this.session;
    const kept = await readings(session, channel, Math.max(0, until - WINDOW_S), until);
    if (!kept || session !== this.session) return;
    const [tail, newer] = [new Tail(WINDOW_S), this.tails[channel]];
    tail.fill(kept);
    newer?.t_s.forEach((t, i) => (tail.t_s.length === 0 || t > tail.t_s.at(-1)) && tail.add(t, newer.mean[i]));
    this.tails[channel] = tail;
  }

  add(now) {
    this.now_s = now.t_s;
    for (const channel of this.channels) {
      const { value, quality } = now.channels[channel] ?? {};
      if (quality === "good" && value !== null) (this.tails[channel] ??= new Tail(WINDOW_S)).add(now.t_s, value);
    }
  }

  async show(all) {
    this.all = all;
    if (all) await this.loadWhole();
  }

  async loadWhole() {
    const [session, until] = [this.session, this.now_s];
    if (!session || until <= 0) return;
    for (const channel of Object.keys(this.tails)) {
      const kept = await readings(session, channel, 0, until);
      if (kept && session === this.session) this.whole[channel] = kept;
    }
  }

  get span() {
    return [this.all && this.session ? 0 : this.now_s - WINDOW_S, this.now_s];
  }

  rows(kinds) {
    const from = this.all && this.session ? this.whole : this.tails;
    return Object.entries(kinds).filter(([channel]) => from[channel]).map(([channel, kind]) => ({ ...from[channel], kind }));
  }
}
