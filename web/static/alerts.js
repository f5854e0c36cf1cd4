// Alerts that cannot be missed: full width, colour, words, a shape, sound and vibration.
const RANK = { danger: 0, caution: 1, notice: 2 };
const SHAPES = {
  danger: "M7 1h10l6 6v10l-6 6H7l-6-6V7z",
  caution: "M12 2l11 20H1z",
  notice: "M2 2h20v20H2z",
  stop: "M7 1h10l6 6v10l-6 6H7l-6-6V7z",
};
const MARKS = { danger: "M12 6.5v6.5M12 17.5v.1", caution: "M12 9v5M12 18v.1", notice: "M12 6.5v6.5M12 17.5v.1", stop: "M6.5 12h11" };
const WORDS = { danger: "Danger", caution: "Caution", notice: "Notice" };
const CALLS = { danger: [988, 740, 988, 740], caution: [740, 740], notice: [660] };
const STOP_CALL = [880, 880, 880, 1320];

export function isStanding(alert) {
  return alert.state !== "cleared" && (alert.cleared_t_s === null || alert.cleared_t_s === undefined);
}

export function sorted(alerts) {
  const weight = (a) => (a.state === "acknowledged" ? 100 : 0) + (a.code === "stop-charging" ? 0 : 10) + (RANK[a.severity] ?? 3);
  return alerts.filter(isStanding).sort((a, b) => weight(a) - weight(b) || b.seq - a.seq);
}

export class Voice {
  constructor(button) {
    this.button = button;
    this.wanted = localStorage.getItem("sound") !== "off";
    // A browser lets a page sound only after a touch: the first one anywhere will do. What was so before the touch
    // tells a touch that wakes the sound, however long it lasts, from one that silences it.
    for (const touch of ["pointerdown", "keydown"]) addEventListener(touch, () => this.touched(), { capture: true });
    button?.addEventListener("click", () => this.toggle());
    this.show();
  }

  get awake() {
    return this.context?.state === "running";
  }

  get on() {
    return this.wanted && this.awake;
  }

  async unlock() {
    this.context ??= new AudioContext();
    await this.context.resume();
    this.show();
    navigator.wakeLock?.request("screen").catch(() => {});
  }

  touched() {
    this.wasOn = this.on;
    if (!this.awake) this.unlock();
  }

  async toggle() {
    this.wanted = !this.wasOn;
    localStorage.setItem("sound", this.wanted ? "on" : "off");
    if (this.wanted) await this.unlock();
    this.show();
    if (this.on) this.tones([660], 0.08);
  }

  show() {
    if (!this.button) return;
    this.button.textContent = this.on ? "Sound on" : this.awake ? "Danger only" : "Tap for sound";
    this.button.setAttribute("aria-pressed", String(Boolean(this.on)));
  }

  call(alert) {
    const tones = alert.code === "stop-charging" ? STOP_CALL : CALLS[alert.severity];
    navigator.vibrate?.(alert.severity === "notice" && alert.code !== "stop-charging" ? [80] : [300, 120, 300, 120, 300]);
    if (this.on || (this.awake && alert.severity === "danger")) this.tones(tones, 0.16); // danger cannot be muted
  }

  tones(tones, length) {
    const start = this.context.currentTime + 0.02;
    tones.forEach((pitch, i) => {
      const tone = new OscillatorNode(this.context, { type: "square", frequency: pitch });
      const level = new GainNode(this.context, { gain: 0.28 });
      tone.connect(level).connect(this.context.destination);
      tone.start(start + i * length * 1.3);
      tone.stop(start + i * length * 1.3 + length);
    });
    this.sounded = (this.sounded ?? 0) + 1;
    document.documentElement.dataset.sounded = this.sounded;
  }
}

export class AlertBoard {
  constructor(place, voice, acknowledge) {
    Object.assign(this, { place, voice, acknowledge, calledFor: new Set(), key: null });
  }

  show(alerts) {
    const list = sorted(alerts);
    const urgent = list.filter((a) => a.state !== "acknowledged");
    this.repeat(urgent);
    const key = JSON.stringify(list.map((a) => [a.seq, a.state, a.message]));
    if (key === this.key) return;
    this.key = key;
    this.place.replaceChildren(...list.slice(0, 1).map((a) => this.banner(a)), ...this.rest(list.slice(1)));
    document.body.classList.toggle("urgent", urgent.length > 0);
  }

  // New alerts call once; danger and the stop go on until someone has acknowledged or they have passed.
  repeat(urgent) {
    const fresh = urgent.filter((a) => !this.calledFor.has(a.seq + a.code));
    fresh.forEach((a) => this.calledFor.add(a.seq + a.code));
    const insists = urgent.find((a) => a.severity === "danger" || a.code === "stop-charging");
    const due = performance.now() - (this.calledAt ?? -1e9) > 2000;
    const one = fresh[0] ?? (insists && due ? insists : null);
    if (!one) return;
    this.calledAt = performance.now();
    this.voice.call(one);
  }

  banner(alert) {
    const stop = alert.code === "stop-charging";
    const box = document.createElement("section");
    box.className = "alert " + alert.severity + (stop ? " stopcall" : "") + (alert.state === "acknowledged" ? " seen" : "");
    box.dataset.code = alert.code;
    const words = document.createElement("div");
    words.append(text("p", "word", stop ? "Stop" : WORDS[alert.severity]), text("p", "said", alert.message));
    box.append(shape(stop ? "stop" : alert.severity), words);
    if (this.acknowledge && alert.state !== "acknowledged" && document.documentElement.hasAttribute("data-paired")) {
      const button = text("button", "seenit", "Seen");
      button.type = "button";
      button.setAttribute("aria-label", "Acknowledge: " + alert.message);
      button.addEventListener("click", () => this.acknowledge(alert.code));
      box.append(button);
    }
    return box;
  }

  rest(alerts) {
    if (!alerts.length) return [];
    const list = document.createElement("ul");
    list.className = "alsolist";
    for (const alert of alerts) {
      const item = document.createElement("li");
      item.className = alert.severity;
      item.append(shape(alert.severity), text("span", "", WORDS[alert.severity] + ": " + alert.message));
      list.append(item);
    }
    return [list];
  }
}

function text(tag, kind, words) {
  return Object.assign(document.createElement(tag), { className: kind, textContent: words });
}

function shape(severity) {
  const drawn = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  drawn.setAttribute("viewBox", "0 0 24 24");
  drawn.setAttribute("class", "shape");
  drawn.setAttribute("aria-hidden", "true");
  const outline = document.createElementNS("http://www.w3.org/2000/svg", "path");
  outline.setAttribute("d", SHAPES[severity] ?? SHAPES.notice);
  const stroke = document.createElementNS("http://www.w3.org/2000/svg", "path");
  stroke.setAttribute("d", MARKS[severity] ?? MARKS.notice);
  stroke.setAttribute("class", "mark");
  drawn.append(outline, stroke);
  return drawn;
}
