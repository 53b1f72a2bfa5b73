// The page: rows of marks, the list of differences, what mouse and keys do.
(() => {
  const EDGE_PX = 6;
  const NEAR_PX = 7;
  const NUDGE_S = 0.01;
  const STOP_WIDTH_S = 6;
  const NEW_INTERVAL_S = 1;
  const SHORTEST_STATE_S = 0.5;
  const APART = 5;
  const HIDE_KEY = "strainstudy-hide-detected";
  const LANES = [
    ["feet", "left", "left foot"],
    ["feet", "right", "right foot"],
    ["bends", "left", "left bend"],
    ["bends", "right", "right bend"],
    ["states", null, "state"],
    ["throat", null, "throat"],
    ["artefact", null, "artefact"],
    ["labelled", null, "looked at"],
  ];
  const FIRST_OF_LANE = {
    feet: "initial_contact", bends: "knee_bend", states: "normal_gait", throat: "swallow", artefact: "artefact",
    labelled: "labelled",
  };
  const byId = (id) => document.getElementById(id);
  const readContent = () => JSON.parse(byId("content").textContent);

  Review.start = () => {
    const content = readContent();
    const found = window.detected || null;
    const detected = found === null ? [] : [...found.events, ...found.bouts.map((b) => [b[0], b[1], b[2], b[3], null])];
    const detectedMarks = detected.map(Review.toMark);
    const state = { chosen: null, held: null, stop: null, at: -1, differences: [], counts: [], hide: false, alone: false };

    const desk = new Review.Desk(content, () => refresh());
    const plots = new Review.Plots(content, byId("plots"), { tap, twice, grasp, drag, release, moved });

    // ---- rows of marks -------------------------------------------------------------------------------------------

    const laneOf = (mark) => Review.kindOf(content, mark.type).lane;
    const belongs = (mark, [lane, side]) => laneOf(mark) === lane && (side === null || mark.side === side);
    const ours = ([lane, side]) => {
      if (lane === "throat") return content.points.includes("throat");
      if (side !== null) return content.sides.includes(side);
      return lane === "states" ? content.sides.length > 0 : true;
    };

    function rows() {
      const sources = [];
      if (!state.hide) sources.push(["detected", detectedMarks, "detected"]);
      if (!state.alone) {
        for (const rater of Object.keys(content.marks)) {
          if (rater !== desk.rater) sources.push([rater, desk.fromFile(rater), null]);
        }
      }
      const made = [];
      for (const lane of LANES) {
        const start = made.length;
        for (const [name, marks, rules] of sources) {
          const own = marks.filter((m) => belongs(m, lane));
          if (own.length > 0) made.push({ label: `${lane[2]}, ${name}`, lane, marks: own, rules, mine: false });
        }
        const own = desk.marks.filter((m) => belongs(m, lane));
        if (own.length > 0 || ours(lane)) {
          made.push({ label: `${lane[2]}, ${desk.rater} \u270e`, lane, marks: own, rules: "own", mine: true });
        }
        if (made.length > start) made[start].first = true;
      }
      return made;
    }

    // ---- differences ---------------------------------------------------------------------------------------------

    function others() {
      const name = byId("against").value;
      return name === "detected" ? detectedMarks : desk.fromFile(name);
    }

    function compare() {
      const tolerances = { time: Number(byId("time-tolerance").value), centre: Number(byId("centre-tolerance").value) };
      const theirs = others();
      const events = Review.compareEvents(desk.marks, theirs, content, tolerances);
      const bouts = byId("against").value === "detected" ? theirs.filter((m) => laneOf(m) === "states")
        : theirs.filter((m) => content.states.includes(m.type));
      const states = Review.compareStates(desk.marks, bouts, content);
      const long = states.list.filter((d) => d.to - d.from >= SHORTEST_STATE_S);
      state.counts = events.counts;
      state.states = { ...states, short: states.list.length - long.length };
      state.differences = [...together(events.list, tolerances), ...long].sort((a, b) => a.t - b.t);
    }

    /** What only one has and what only the other has, not far from one another, are one difference to look at. */
    function together(list, tolerances) {
      const left = new Set(list);
      const joined = [];
      const groups = new Set(list.map((d) => `${d.type} ${d.side}`));
      for (const group of groups) {
        const own = list.filter((d) => d.only === "mine" && `${d.type} ${d.side}` === group);
        const theirs = list.filter((d) => d.only === "other" && `${d.type} ${d.side}` === group);
        if (own.length === 0 || theirs.length === 0) continue;
        const reach = APART * (content.kinds[own[0].type].instant ? tolerances.time : tolerances.centre);
        for (const [i, j] of Review.match(own.map((d) => d.t), theirs.map((d) => d.t), reach)) {
          left.delete(own[i]);
          left.delete(theirs[j]);
          joined.push({ ...own[i], only: "apart", other: theirs[j].mark, by: theirs[j].t - own[i].t });
        }
      }
      return [...left, ...joined];
    }

    function wordsOf(difference) {
      const name = byId("against").value;
      if (difference.only === "state") {
        const word = (type) => (type === null ? "no state" : Review.kindOf(content, type).words);
        return `${word(difference.mine)}, ${name}: ${word(difference.other)} (${(difference.to - difference.from).toFixed(1)} s)`;
      }
      const what = `${content.kinds[difference.type].words}${difference.side ? ` ${difference.side}` : ""}`;
      if (difference.only === "apart") {
        return `${what}: ${name} ${Math.abs(difference.by).toFixed(2)} s ${difference.by < 0 ? "earlier" : "later"}`;
      }
      return difference.only === "mine" ? `${what}: only ${desk.rater}` : `${what}: only ${name}`;
    }

    function listDifferences() {
      const hidden = byId("against").value === "detected" ? state.hide : state.alone;
      byId("differences").hidden = hidden;
      byId("differences-hidden").hidden = !hidden;
      const list = byId("difference-list");
      list.hidden = state.differences.length === 0;
      list.replaceChildren();
      state.differences.forEach((difference, k) => {
        const item = document.createElement("li");
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = `${difference.t.toFixed(2)} s  ${wordsOf(difference)}`;
        button.addEventListener("click", () => stopAt(k));
        if (k === state.at) button.setAttribute("aria-current", "true");
        item.append(button);
        list.append(item);
      });
      const name = byId("against").value;
      const lines = state.counts.map(({ type, side, both, missed, extra }) => {
        const words = content.kinds[type].plural + (side === "all" ? "" : ` ${side}`);
        return `${words}: ${both} agree, ${missed} only ${desk.rater}, ${extra} only ${name}`;
      });
      if (state.states.seconds > 0) {
        const share = state.states.differ.toFixed(1);
        const short = state.states.short > 0 ? ` (${state.states.short} stretches under ${SHORTEST_STATE_S} s not listed)` : "";
        lines.push(`states: ${share} s of ${state.states.seconds.toFixed(1)} s differ${short}`);
      }
      byId("counts").replaceChildren(...lines.map((line) => Object.assign(document.createElement("li"), { textContent: line })));
      byId("over").disabled = canTakeOver() === null;
      byId("difference-count").textContent =
        state.differences.length === 0 ? "none" : `${state.at < 0 ? "" : `${state.at + 1} of `}${state.differences.length}`;
      const current = list.querySelector("[aria-current]");
      if (current) list.scrollTop = current.offsetTop - list.offsetTop - 60;
    }

    function stopAt(k) {
      if (k < 0 || k >= state.differences.length) return;
      state.at = k;
      const difference = state.differences[k];
      state.stop = difference.t;
      state.chosen = difference.only === "mine" || difference.only === "apart" ? difference.mark : null;
      const span = difference.only === "state" ? difference.to - difference.from : 0;
      const width = Math.max(Math.min(plots.range.end - plots.range.start, STOP_WIDTH_S), 1.4 * span);
      const middle = difference.t + span / 2;
      plots.show(middle - width / 2, middle + width / 2);
      redraw();
    }

    function step(by) {
      if (byId("differences").hidden || state.differences.length === 0) return;
      if (state.at >= 0) return stopAt(Math.min(Math.max(state.at + by, 0), state.differences.length - 1));
      const middle = (plots.range.start + plots.range.end) / 2;
      const whole = plots.range.end - plots.range.start > 0.9 * content.duration;
      const next = whole ? 0 : state.differences.findIndex((d) => d.t >= middle);
      stopAt(by > 0 ? (next < 0 ? 0 : next) : (next < 0 ? state.differences.length : next) - 1);
    }

    const canTakeOver = () => {
      const difference = state.differences[state.at];
      return difference && !byId("differences").hidden && ["other", "apart"].includes(difference.only) ? difference : null;
    };

    /** Take over what the other has at the difference stopped at: as a new mark, or as the place of one's own. */
    function takeOver() {
      const difference = canTakeOver();
      if (difference === null) return;
      const { onset, duration, type, side, value } = difference.only === "apart" ? difference.other : difference.mark;
      const span = { onset: Review.toThousandth(onset), duration: Review.toThousandth(duration) };
      if (difference.only === "apart") alter(difference.mark, span);
      else add({ ...span, type, side, value: type === "knee_bend" && value !== null ? Math.round(value) : value });
    }

    // ---- changing marks ------------------------------------------------------------------------------------------

    function add(mark) {
      desk.change((marks) => [...marks, mark]);
      choose(desk.marks[desk.marks.length - 1]);
    }

    function alter(mark, changes) {
      const place = desk.marks.indexOf(mark);
      if (place < 0) return;
      desk.change((marks) => {
        marks[place] = fitting({ ...marks[place], ...changes });
        return marks;
      });
      choose(desk.marks[place]);
    }

    /** A mark with what its type asks for: an instant lasts no time, a foot or knee has a side. */
    function fitting(mark) {
      const kind = content.kinds[mark.type];
      const made = { ...mark, duration: kind.instant ? 0 : mark.duration };
      if (!kind.instant && !(made.duration > 0) && mark.type !== "swallow") made.duration = NEW_INTERVAL_S;
      if (kind.sided && !made.side) made.side = content.sides[0] || "left";
      if (!kind.sided && mark.type !== "limping_gait") made.side = null;
      if (mark.type !== "knee_bend") made.value = null;
      return made;
    }

    function remove() {
      const place = desk.marks.indexOf(state.chosen);
      if (place < 0) return;
      state.chosen = null;
      desk.change((marks) => marks.filter((_, k) => k !== place));
    }

    function nextType() {
      if (state.chosen === null) return;
      const names = Object.keys(content.kinds).filter((name) => content.kinds[name].lane === laneOf(state.chosen));
      alter(state.chosen, { type: names[(names.indexOf(state.chosen.type) + 1) % names.length] });
    }

    function nudge(by) {
      if (state.chosen !== null) alter(state.chosen, { onset: Review.toThousandth(state.chosen.onset + by) });
    }

    function choose(mark) {
      state.chosen = mark;
      redraw();
    }

    /** The mark of a row at a time, and which part of it: nearest instant, else the shortest span there. */
    function hit(x, row) {
      const near = plots.secondsOf(NEAR_PX);
      const edge = plots.secondsOf(EDGE_PX);
      let best = null;
      for (const mark of row.marks) {
        const until = mark.onset + mark.duration;
        const instant = mark.duration === 0;
        const outside = Math.max(mark.onset - x, x - until, 0);
        if (outside > (instant ? near : edge)) continue;
        const ends = !instant && until - mark.onset > 3 * edge;
        let part = "all";
        if (ends && Math.abs(x - mark.onset) <= edge) part = "start";
        if (ends && Math.abs(x - until) <= edge) part = "end";
        const worth = instant ? outside : outside + (until - mark.onset);
        if (best === null || worth < best.worth) best = { mark, part, worth };
      }
      return best;
    }

    function newMark(t, lane) {
      const type = lane === null ? byId("new-kind").value.split(" ")[0] : FIRST_OF_LANE[lane[0]];
      const side = lane === null ? byId("new-kind").value.split(" ")[1] || null : lane[1];
      const kind = content.kinds[type];
      const length = kind.instant ? 0 : Math.min(NEW_INTERVAL_S, (plots.range.end - plots.range.start) / 4);
      const onset = Review.toThousandth(kind.instant ? t : t - length / 2);
      return { onset, duration: Review.toThousandth(length), type, side, value: null };
    }

    function tap(x, row) {
      if (row === null) return;
      const found = hit(x, row);
      state.stop = found !== null && !row.mine ? found.mark.onset : null;
      choose(found !== null && row.mine ? found.mark : null);
    }

    function twice(x, row) {
      if (row !== null && (!row.mine || hit(x, row) !== null)) return;
      if (x < 0 || x > content.duration) return;
      add(newMark(x, row === null ? null : row.lane));
    }

    function grasp(x, row) {
      state.held = null;
      if (row === null || !row.mine) return;
      const found = hit(x, row);
      if (found !== null) {
        choose(found.mark);
        state.held = { part: found.part, from: x, mark: { ...found.mark } };
      } else if (row.lane[0] !== "feet" && x >= 0 && x <= content.duration) {
        state.held = { part: "new", from: x, mark: { ...newMark(x, row.lane), onset: x, duration: 0 } };
      }
    }

    function dragged(x) {
      const { part, from, mark } = state.held;
      const until = mark.onset + mark.duration;
      let [a, b] = [mark.onset, until];
      if (part === "all") [a, b] = [mark.onset + x - from, until + x - from];
      if (part === "start") a = Math.min(x, until - 0.01);
      if (part === "end") b = Math.max(x, mark.onset + 0.01);
      if (part === "new") [a, b] = [Math.min(from, x), Math.max(from, x)];
      const onset = Review.toThousandth(a);
      return { onset, duration: part === "all" ? mark.duration : Review.toThousandth(b - onset) };
    }

    function drag(x) {
      if (state.held === null) return;
      // While it is held a mark only looks moved; it is changed once, when it is let go.
      const made = { ...state.held.mark, ...dragged(x) };
      const scene = rows();
      for (const row of scene) {
        if (row.mine) row.marks = row.marks.filter((m) => m !== state.chosen);
        if (row.mine && belongs(made, row.lane)) row.marks.push(made);
      }
      plots.draw({ rows: scene, chosen: made, stop: null });
      byId("said").textContent = `${made.onset.toFixed(3)} s${made.duration > 0 ? `, lasts ${made.duration.toFixed(3)} s` : ""}`;
    }

    function release(x) {
      if (state.held === null) return;
      const { part, mark } = state.held;
      const changes = dragged(x);
      state.held = null;
      if (part === "new") {
        if (changes.duration >= plots.secondsOf(3)) add({ ...mark, ...changes });
        else redraw();
      } else alter(state.chosen, changes);
    }

    // ---- time in view --------------------------------------------------------------------------------------------

    function moved(from, to) {
      byId("in-view").textContent = `${from.toFixed(2)} to ${to.toFixed(2)} s (${(to - from).toFixed(2)} s)`;
    }

    function zoom(factor) {
      const middle = (plots.range.start + plots.range.end) / 2;
      const half = (factor * (plots.range.end - plots.range.start)) / 2;
      plots.show(middle - half, middle + half);
    }

    function push(share) {
      const by = share * (plots.range.end - plots.range.start);
      plots.show(plots.range.start + by, plots.range.end + by);
    }

    const whole = () => plots.show(-0.01 * content.duration, 1.01 * content.duration);

    /** Open at the time of the address: `#t=12.3`, or a span of it `#t=12.3&for=4`. */
    function follow() {
      const words = new URLSearchParams(location.hash.slice(1));
      const t = Number(words.get("t"));
      if (!words.has("t") || !Number.isFinite(t)) return;
      const length = Number(words.get("for")) || 0;
      const width = length > 0 ? 1.5 * length : STOP_WIDTH_S;
      plots.show(t + length / 2 - width / 2, t + length / 2 + width / 2);
      state.stop = t;
      state.at = -1;
      redraw();
    }

    // ---- beside the plots ----------------------------------------------------------------------------------------

    function option(value, words) {
      return Object.assign(document.createElement("option"), { value, textContent: words });
    }

    function listRaters() {
      const names = new Set([...desk.raters(), desk.rater]);
      byId("rater").replaceChildren(...[...names].sort().map((name) => option(name, name)), option("", "another rater ..."));
      byId("rater").value = desk.rater;
      const chosen = byId("against").value || "detected";
      const choices = ["detected", ...Object.keys(content.marks).filter((name) => name !== desk.rater)];
      byId("against").replaceChildren(...choices.map((name) => option(name, name)));
      byId("against").value = choices.includes(chosen) ? chosen : "detected";
    }

    function fillChosen() {
      const mark = state.chosen;
      byId("chosen").hidden = mark === null;
      byId("none-chosen").hidden = mark !== null;
      if (mark === null) return;
      const kind = content.kinds[mark.type];
      byId("mark-type").value = mark.type;
      byId("mark-side").value = mark.side || "";
      byId("mark-side").disabled = !kind.sided && mark.type !== "limping_gait";
      byId("mark-side").querySelector("option[value='']").disabled = kind.sided;
      byId("mark-onset").value = mark.onset;
      byId("mark-duration").value = mark.duration;
      byId("mark-duration").disabled = kind.instant;
      byId("mark-value").value = mark.value === null ? "" : mark.value;
      byId("mark-value").disabled = mark.type !== "knee_bend";
    }

    function sayState() {
      const file = `${desk.rater}_events.tsv`;
      byId("file").textContent = `labels/${content.recording}/${file}`;
      byId("save").textContent = `Save ${file}`;
      const kept = desk.kept ? "kept in this browser" : "NOT kept: this browser stores nothing for this page";
      byId("unsaved").textContent = desk.unsaved ? `Changed, ${kept}; not in the study yet.` : "As in the study.";
      byId("restart").disabled = !desk.unsaved;
      const faults = Review.faults(desk.marks, content);
      byId("faults").hidden = faults.length === 0;
      byId("fault-list").replaceChildren(
        ...faults.slice(0, 12).map(({ mark, words }) => {
          const button = Object.assign(document.createElement("button"), { type: "button", textContent: words });
          button.addEventListener("click", () => {
            plots.show(mark.onset - STOP_WIDTH_S / 2, mark.onset + STOP_WIDTH_S / 2);
            choose(mark);
          });
          const item = document.createElement("li");
          item.append(button);
          return item;
        }),
      );
      const earlier = desk.earlier();
      byId("earlier").hidden = earlier.length === 0;
      byId("earlier-list").replaceChildren(
        ...earlier.map((entry) => {
          const item = document.createElement("li");
          const take = Object.assign(document.createElement("button"), { type: "button", textContent: "take it up" });
          const drop = Object.assign(document.createElement("button"), { type: "button", textContent: "remove it" });
          take.addEventListener("click", () => desk.takeEarlier(entry));
          drop.addEventListener("click", () => desk.dropEarlier(entry));
          item.append(`${entry.rater}: `, take, " ", drop);
          return item;
        }),
      );
    }

    function redraw() {
      byId("said").textContent = "";
      plots.draw({ rows: rows(), chosen: state.chosen, stop: state.stop });
      fillChosen();
      listDifferences();
    }

    function refresh() {
      if (state.chosen !== null && !desk.marks.includes(state.chosen)) state.chosen = null;
      const stopped = state.differences[state.at];
      listRaters();
      compare();
      // The list is another after a change; the place in it stays near the time stopped at.
      const same = (d) => stopped && d.t === stopped.t && d.only === stopped.only && d.type === stopped.type;
      state.at = stopped ? state.differences.findIndex(same) : -1;
      if (stopped && state.at < 0) state.at = state.differences.findLastIndex((d) => d.t < stopped.t);
      sayState();
      redraw();
    }

    function save() {
      const blob = new Blob([Review.labelText(desk.marks)], { type: "text/tab-separated-values" });
      const link = Object.assign(document.createElement("a"), {
        href: URL.createObjectURL(blob), download: `${desk.rater}_events.tsv`,
      });
      document.body.append(link);
      link.click();
      link.remove();
      setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    }

    function otherRater(name) {
      state.chosen = null;
      state.at = -1;
      if (name !== "") return desk.take(name);
      const given = window.prompt("Name of the rater (letters, digits, - and _):", "");
      if (given !== null && /^[A-Za-z0-9_-]+$/.test(given)) desk.take(given);
      else desk.take(desk.rater);
    }

    const KEYS = {
      d: () => step(1),
      s: () => step(-1),
      a: () => push(-0.5),
      f: () => push(0.5),
      e: () => zoom(0.5),
      w: () => zoom(2),
      q: whole,
      t: takeOver,
      c: () => add(newMark((plots.range.start + plots.range.end) / 2, null)),
      r: nextType,
      x: remove,
      Delete: remove,
      z: () => desk.back(),
      y: () => desk.forth(),
      h: () => byId("hide").click(),
      ArrowLeft: (event) => nudge(event.shiftKey ? -10 * NUDGE_S : -NUDGE_S),
      ArrowRight: (event) => nudge(event.shiftKey ? 10 * NUDGE_S : NUDGE_S),
      Escape: () => {
        state.stop = null;
        choose(null);
      },
    };

    function listen() {
      document.addEventListener("keydown", (event) => {
        const act = KEYS[event.key];
        if (!act || event.altKey || event.ctrlKey || event.metaKey || event.target.matches("input, select, textarea")) return;
        event.preventDefault();
        act(event);
      });
      // A field that was just set must not swallow the keys that follow.
      document.addEventListener("change", (event) => event.target.blur());
      const clicks = {
        whole, closer: () => zoom(0.5), wider: () => zoom(2), before: () => push(-0.5), after: () => push(0.5),
        next: () => step(1), previous: () => step(-1), over: takeOver, save, remove, back: () => desk.back(),
        forth: () => desk.forth(), add: KEYS.c,
        restart: () => {
          if (window.confirm("Leave all changes and start again from the file of the study?")) desk.startAgain();
        },
      };
      for (const [id, act] of Object.entries(clicks)) byId(id).addEventListener("click", act);
      byId("rater").addEventListener("change", (event) => otherRater(event.target.value));
      for (const id of ["against", "time-tolerance", "centre-tolerance"]) {
        byId(id).addEventListener("change", () => {
          state.at = -1;
          refresh();
        });
      }
      byId("hide").addEventListener("change", (event) => {
        state.hide = event.target.checked;
        desk.remember(HIDE_KEY, state.hide ? true : null);
        refresh();
      });
      byId("alone").addEventListener("change", (event) => {
        state.alone = event.target.checked;
        refresh();
      });
      byId("go").addEventListener("change", (event) => {
        const t = Number(event.target.value);
        const width = plots.range.end - plots.range.start;
        if (Number.isFinite(t)) plots.show(t - width / 2, t + width / 2);
      });
      const set = (id, name, read) => byId(id).addEventListener("change", (event) => {
        const value = read(event.target.value);
        if (value !== undefined && state.chosen !== null) alter(state.chosen, { [name]: value });
      });
      const numberOf = (text) => (text.trim() !== "" && Number.isFinite(Number(text)) ? Number(text) : undefined);
      set("mark-type", "type", (text) => text);
      set("mark-side", "side", (text) => text || null);
      set("mark-onset", "onset", numberOf);
      set("mark-duration", "duration", (text) => (numberOf(text) >= 0 ? numberOf(text) : undefined));
      set("mark-value", "value", (text) => (text.trim() === "" ? null : numberOf(text)));
      window.addEventListener("hashchange", follow);
    }

    function fillChoices() {
      byId("mark-type").replaceChildren(...Object.entries(content.kinds).map(([name, kind]) => option(name, kind.words)));
      const lanes = LANES.filter(ours);
      const kinds = lanes.flatMap(([lane, side]) =>
        Object.entries(content.kinds).filter(([, kind]) => kind.lane === lane).map(([name, kind]) =>
          option(side === null ? name : `${name} ${side}`, side === null ? kind.words : `${kind.words} ${side}`)));
      byId("new-kind").replaceChildren(...kinds);
      const tolerances = (name) => content.tolerances[name].map((s) => option(String(s), `${s} s`));
      byId("time-tolerance").replaceChildren(...tolerances("time"));
      byId("centre-tolerance").replaceChildren(...tolerances("centre"));
      byId("no-detected").hidden = found !== null;
    }

    fillChoices();
    listen();
    state.hide = desk.recall(HIDE_KEY) === true;
    byId("hide").checked = state.hide;
    desk.take(content.reference_rater || desk.raters()[0] || "rater1");
    moved(plots.range.start, plots.range.end);
    plots.ready.then(() => {
      redraw();
      follow();
      document.body.dataset.ready = "yes";
    });
    Review.open = { content, desk, plots, state, compare };
  };

  document.addEventListener("DOMContentLoaded", () => Review.start());
})();
