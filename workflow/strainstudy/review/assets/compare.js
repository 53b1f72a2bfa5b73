// Marks against marks, counted as the validation counts them (stats/matching.py, validate/scoring.py, gait/state_time.py).
(() => {
  const ROUNDING_S = 1e-9;
  const SIDES = ["left", "right"];

  /** Pairs [i, j] of sorted times at most `tolerance` apart: most pairs first, then the least total distance. */
  function pairsOfCluster(first, second, tolerance) {
    const n = first.length;
    const m = second.length;
    // best[i][j]: number of pairs and total distance of the first i and the first j times. On a line the best pairs
    // need never cross.
    const count = new Int32Array((n + 1) * (m + 1));
    const cost = new Float64Array((n + 1) * (m + 1));
    const from = new Uint8Array((n + 1) * (m + 1));
    const at = (i, j) => i * (m + 1) + j;
    for (let i = 1; i <= n; i++) {
      for (let j = 1; j <= m; j++) {
        const here = at(i, j);
        const better = (other) =>
          count[other] > count[here] || (count[other] === count[here] && cost[other] < cost[here] - 1e-12);
        count[here] = count[at(i - 1, j)];
        cost[here] = cost[at(i - 1, j)];
        from[here] = 1;
        if (better(at(i, j - 1))) {
          count[here] = count[at(i, j - 1)];
          cost[here] = cost[at(i, j - 1)];
          from[here] = 2;
        }
        const distance = Math.abs(first[i - 1].t - second[j - 1].t);
        if (distance <= tolerance + ROUNDING_S) {
          const pairs = count[at(i - 1, j - 1)] + 1;
          const total = cost[at(i - 1, j - 1)] + distance;
          if (pairs > count[here] || (pairs === count[here] && total < cost[here] - 1e-12)) {
            count[here] = pairs;
            cost[here] = total;
            from[here] = 3;
          }
        }
      }
    }
    const pairs = [];
    for (let i = n, j = m; i > 0 && j > 0; ) {
      const step = from[at(i, j)];
      if (step === 3) pairs.push([first[--i].k, second[--j].k]);
      else if (step === 1) i--;
      else j--;
    }
    return pairs;
  }

  /** One-to-one pairs [index of the first, index of the second] of times at most `tolerance` apart. */
  Review.match = (first, second, tolerance) => {
    const all = [...first.map((t, k) => ({ t, k, own: true })), ...second.map((t, k) => ({ t, k, own: false }))];
    all.sort((a, b) => a.t - b.t);
    const pairs = [];
    for (let start = 0; start < all.length; ) {
      let end = start + 1;
      while (end < all.length && all[end].t - all[end - 1].t <= tolerance + ROUNDING_S) end++;
      const cluster = all.slice(start, end);
      pairs.push(...pairsOfCluster(cluster.filter((c) => c.own), cluster.filter((c) => !c.own), tolerance));
      start = end;
    }
    return pairs.sort((a, b) => a[0] - b[0]);
  };

  /** Spans that the rater looked at, merged; null where the rater set no limits. */
  Review.labelledSpans = (marks) => {
    const spans = marks.filter((m) => m.type === "labelled").map((m) => [m.onset, m.onset + m.duration]);
    if (spans.length === 0) return null;
    spans.sort((a, b) => a[0] - b[0]);
    const merged = [spans[0].slice()];
    for (const [from, to] of spans.slice(1)) {
      const last = merged[merged.length - 1];
      if (from > last[1] + ROUNDING_S) merged.push([from, to]);
      else last[1] = Math.max(last[1], to);
    }
    return merged;
  };

  const within = (t, spans) =>
    spans === null || spans.some(([from, to]) => t >= from - ROUNDING_S && t <= to + ROUNDING_S);
  const centre = (mark) => mark.onset + mark.duration / 2;
  const straight = (mark) => mark.type === "knee_bend" && mark.value === 0;

  /** Event types that these marks can judge. */
  Review.scoredTypes = (marks, content) => {
    const used = new Set(marks.filter((m) => !straight(m)).map((m) => m.type));
    if (content.confounders.some((name) => used.has(name))) used.add("swallow");
    return Object.keys(content.kinds).filter((name) => content.kinds[name].plural && used.has(name));
  };

  /**
   * Marks of one rater against others, event by event.
   *
   * Gives a count for each type and side, and every event that only one of the two has.
   */
  Review.compareEvents = (marks, others, content, tolerances) => {
    const own = marks.filter((m) => m.onset <= content.duration && !straight(m));
    const spans = Review.labelledSpans(own);
    const counts = [];
    const list = [];
    for (const type of Review.scoredTypes(own, content)) {
      const kind = content.kinds[type];
      const tolerance = kind.instant ? tolerances.time : tolerances.centre;
      const time = kind.instant ? (m) => m.onset : centre;
      const truth = own.filter((m) => m.type === type);
      const found = others.filter((m) => m.type === type && !straight(m));
      const sided = truth.length > 0 && truth.every((m) => SIDES.includes(m.side));
      const sides = sided ? SIDES.filter((side) => truth.some((m) => m.side === side)) : ["all"];
      for (const side of sides) {
        const a = sided ? truth.filter((m) => m.side === side) : truth;
        const b = sided ? found.filter((m) => m.side === side) : found;
        const pairs = Review.match(a.map(time), b.map(time), tolerance);
        const inA = a.map((m) => within(centre(m), spans));
        const inB = b.map((m) => within(centre(m), spans));
        const pairedA = new Set();
        let both = 0;
        for (const [i, j] of pairs) {
          inB[j] = false;
          if (inA[i]) both++;
          pairedA.add(i);
        }
        const missed = a.filter((_, i) => inA[i] && !pairedA.has(i));
        const extra = b.filter((_, j) => inB[j]);
        counts.push({ type, side, both, missed: missed.length, extra: extra.length });
        list.push(...missed.map((m) => ({ t: time(m), type, side: m.side, only: "mine", mark: m })));
        list.push(...extra.map((m) => ({ t: time(m), type, side: m.side, only: "other", mark: m })));
      }
    }
    return { counts, list };
  };

  /** State of each piece between edges: at any time the shortest span that covers it tells the state. */
  function paint(spans, edges) {
    const state = new Array(edges.length - 1).fill(null);
    const order = spans.map((_, k) => k).sort((a, b) => spans[b].duration - spans[a].duration || a - b);
    const place = (t) => edges.findIndex((edge) => edge >= t);
    for (const k of order) {
      const span = spans[k];
      const high = place(span.onset + span.duration);
      for (let piece = place(span.onset); piece < high; piece++) state[piece] = span.type;
    }
    return state;
  }

  /** Stretches in which the states differ, and the seconds that were compared and differ. */
  Review.compareStates = (marks, others, content) => {
    const own = marks.filter((m) => m.onset <= content.duration);
    const spans = Review.labelledSpans(own);
    const truth = own.filter((m) => content.states.includes(m.type));
    const ends = [...truth, ...others].flatMap((m) => [m.onset, m.onset + m.duration]);
    const edges = [...new Set([...ends, ...(spans || []).flat()])].sort((a, b) => a - b);
    const result = { seconds: 0, differ: 0, list: [] };
    if (truth.length === 0 || edges.length < 2) return result;
    const mine = paint(truth, edges);
    const theirs = paint(others, edges);
    for (let k = 0; k + 1 < edges.length; k++) {
      const [from, to] = [edges[k], edges[k + 1]];
      if (mine[k] === null || !within((from + to) / 2, spans)) continue;
      result.seconds += to - from;
      if (mine[k] === theirs[k]) continue;
      result.differ += to - from;
      const last = result.list[result.list.length - 1];
      if (last && last.to === from && last.mine === mine[k] && last.other === theirs[k]) last.to = to;
      else result.list.push({ t: from, from, to, only: "state", mine: mine[k], other: theirs[k] });
    }
    return result;
  };
})();
