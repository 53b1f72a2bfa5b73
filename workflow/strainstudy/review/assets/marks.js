// The marks of one rater: changed, taken back, kept in the browser, written as the study wants them.
(() => {
  const SIDES = ["left", "right"];
  const OVERLAP_S = 0.5;
  const COLUMNS = ["onset", "duration", "trial_type", "side", "value"];

  Review.toMark = ([onset, duration, type, side, value]) => ({ onset, duration: duration || 0, type, side, value });

  /** What is known of a type of mark; detected states that no rater labels are known by their colour alone. */
  Review.kindOf = (content, type) =>
    content.kinds[type] || {
      instant: false, sided: false, lane: "states", colour: content.colours.states[type] || "#999999",
      words: type.replaceAll("_", " "),
    };
  Review.toThousandth = (t) => Math.round(t * 1000) / 1000;

  /** A number of seconds as the result tables have it: four decimals, or as many as it takes to keep it. */
  function seconds(value) {
    const text = (value + 0).toFixed(4);
    if (Math.abs(Number(text) - value) < 1e-12) return Number(text) === 0 ? "0.0000" : text;
    return value.toFixed(9).replace(/0+$/, "");
  }
  const number = (value) => (value === null ? "n/a" : String(Number(value.toPrecision(6))));

  /** A label file of these marks, as text. */
  Review.labelText = (marks) => {
    const order = [...marks].sort(
      (a, b) =>
        a.onset - b.onset || a.duration - b.duration || (a.type < b.type ? -1 : a.type > b.type ? 1 : 0) ||
        ((a.side || "") < (b.side || "") ? -1 : 1),
    );
    const rows = order.map((m) => [seconds(m.onset), seconds(m.duration), m.type, m.side || "n/a", number(m.value)]);
    return [COLUMNS, ...rows].map((row) => `${row.join("\t")}\n`).join("");
  };

  /** What the check of the study would say against these marks, with the mark that it is about. */
  Review.faults = (marks, content) => {
    const faults = [];
    const say = (mark, words) => faults.push({ mark, words: `${content.kinds[mark.type].words} at ${mark.onset.toFixed(2)} s: ${words}` });
    const seen = new Set();
    for (const mark of marks) {
      const kind = content.kinds[mark.type];
      if (kind.sided && !SIDES.includes(mark.side)) say(mark, "give its side");
      if (!kind.instant && mark.type !== "swallow" && !(mark.duration > 0)) say(mark, "give its duration");
      if (mark.type === "knee_bend" && content.task === "bend" && mark.value === null) say(mark, "give its angle (deg)");
      if (mark.value !== null && mark.type === "knee_bend" && !(mark.value >= -45 && mark.value <= 180)) {
        say(mark, "no knee has this angle (deg)");
      }
      const key = [mark.onset, mark.duration, mark.type, mark.side].join(" ");
      if (seen.has(key)) say(mark, "the same mark is there twice");
      seen.add(key);
      if (mark.onset > content.duration || mark.onset + mark.duration > content.duration + 1) {
        say(mark, "lies beyond the end of the recording");
      }
    }
    const states = marks.filter((m) => content.states.includes(m.type)).sort((a, b) => a.onset - b.onset);
    states.forEach((mark, k) => {
      const earlier = states.slice(0, k).find((e) => {
        const differ = e.type !== mark.type || (e.type === "limping_gait" && e.side && mark.side && e.side !== mark.side);
        const shared = Math.min(e.onset + e.duration, mark.onset + mark.duration) - mark.onset;
        return differ && shared > OVERLAP_S;
      });
      if (earlier) say(mark, `${content.kinds[earlier.type].words} goes on at the same time`);
    });
    return faults;
  };

  /** Marks of the chosen rater, every change of which is kept in the browser at once. */
  Review.Desk = class {
    constructor(content, changed) {
      this.content = content;
      this.changed = changed;
      this.kept = true;
      this.rater = null;
      this.marks = [];
      this._past = [];
      this._future = [];
    }

    _key(rater) {
      const { recording, hashes } = this.content;
      return ["strainstudy", recording, hashes.series, hashes.marks, rater].join("/");
    }

    /** What was kept in this browser under a key, null for nothing. */
    recall(key) {
      try {
        return JSON.parse(localStorage.getItem(key));
      } catch {
        return null;
      }
    }

    /** Keep a value in this browser, or with null nothing any longer. */
    remember(key, value) {
      try {
        if (value === null) localStorage.removeItem(key);
        else localStorage.setItem(key, JSON.stringify(value));
        this.kept = true;
      } catch {
        this.kept = false;
      }
    }

    fromFile(rater) {
      return (this.content.marks[rater] || []).map(Review.toMark);
    }

    /** Raters with a file, and those with work that was kept for this very state of signals and labels. */
    raters() {
      const names = new Set(Object.keys(this.content.marks));
      const start = this._key("");
      try {
        for (const key of Object.keys(localStorage)) if (key.startsWith(start)) names.add(key.slice(start.length));
      } catch {
        this.kept = false;
      }
      return [...names].filter((name) => name !== "").sort();
    }

    /** Take up the marks of a rater: those kept in this browser, else those of the file. */
    take(rater) {
      const kept = this.recall(this._key(rater));
      this.rater = rater;
      this.marks = kept === null ? this.fromFile(rater) : kept;
      this._past = [];
      this._future = [];
      this.changed();
    }

    /** Work that was kept on these signals while the label files were different ones, newest name last. */
    earlier() {
      const { recording, hashes } = this.content;
      const start = ["strainstudy", recording, hashes.series, ""].join("/");
      let keys = [];
      try {
        keys = Object.keys(localStorage).filter((key) => key.startsWith(start));
      } catch {
        this.kept = false;
      }
      return keys
        .map((key) => ({ key, marksHash: key.split("/")[3], rater: key.split("/").slice(4).join("/") }))
        .filter((entry) => entry.marksHash !== hashes.marks && entry.rater !== "");
    }

    takeEarlier(entry) {
      const marks = this.recall(entry.key);
      if (marks !== null) {
        this.take(entry.rater);
        this.change(() => marks);
      }
      this.remember(entry.key, null);
      this.changed();
    }

    dropEarlier(entry) {
      this.remember(entry.key, null);
      this.changed();
    }

    /** Change the marks by a function from a copy of them to the new ones. */
    change(how) {
      this._past.push(JSON.stringify(this.marks));
      this._future = [];
      this.marks = how(this.marks.map((m) => ({ ...m })));
      this._keep();
    }

    back() {
      this._step(this._past, this._future);
    }

    forth() {
      this._step(this._future, this._past);
    }

    _step(from, to) {
      if (from.length === 0) return;
      to.push(JSON.stringify(this.marks));
      this.marks = JSON.parse(from.pop());
      this._keep();
    }

    /** Say whether the marks differ from those of the file. */
    get unsaved() {
      return Review.labelText(this.marks) !== Review.labelText(this.fromFile(this.rater));
    }

    _keep() {
      this.remember(this._key(this.rater), this.unsaved ? this.marks : null);
      this.changed();
    }

    startAgain() {
      this.change(() => this.fromFile(this.rater));
    }
  };
})();
