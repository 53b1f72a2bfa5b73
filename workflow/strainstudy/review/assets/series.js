"use strict";
// Signals as they lie in a page (series.py): unpacked, and cut to what a screen can show.
const Review = {};

(() => {
  const NONE = -32768;
  const HALF = 32767;
  const BLOCK = 1024;

  function bytesOf(text) {
    const letters = atob(text);
    const bytes = new Uint8Array(letters.length);
    for (let i = 0; i < letters.length; i++) bytes[i] = letters.charCodeAt(i);
    return bytes.buffer;
  }

  /** Values of a packed signal as 64-bit floats, NaN where there is none. */
  Review.unpack = (packed) => {
    const scales = new Float32Array(bytesOf(packed.scales));
    const codes = new Int16Array(bytesOf(packed.codes));
    const values = new Float64Array(packed.n);
    for (let i = 0; i < packed.n; i++) {
      const block = 2 * Math.floor(i / BLOCK);
      values[i] = codes[i] === NONE ? NaN : scales[block] + scales[block + 1] * (codes[i] + HALF);
    }
    return values;
  };

  /** One quantity of one tracked point. */
  Review.Curve = class {
    constructor(entry) {
      this.point = entry.point;
      this.quantity = entry.quantity;
      this.unit = entry.unit;
      this.whole = { first: entry.first, period: entry.period, values: Review.unpack(entry.whole) };
      const parts = Review.unpack(entry.parts);
      let place = 0;
      this.windows = entry.windows.map(([first, n]) => {
        const values = parts.subarray(place, place + n);
        place += n;
        return { first: first / entry.rate, period: 1 / entry.rate, values };
      });
    }

    /** Stretches of values that cover a span of time: every sample where it is held, else the thinned ones. */
    _stretches(from, to) {
      const stretches = [];
      let at = from;
      for (const window of this.windows) {
        const end = window.first + window.period * window.values.length;
        if (end <= at || window.first >= to) continue;
        if (window.first > at) stretches.push([this.whole, at, window.first]);
        stretches.push([window, Math.max(at, window.first), Math.min(end, to)]);
        at = end;
      }
      if (at < to) stretches.push([this.whole, at, to]);
      return stretches;
    }

    /**
     * Points of the curve between two times: all, or the least and greatest of about so many parts; for the border of a
     * band only the least ("low") or the greatest ("high"), at the same times for both.
     */
    view(from, to, parts, border = null) {
      const x = [];
      const y = [];
      for (const [source, start, end] of this._stretches(from, to)) {
        const { first, period, values } = source;
        // One value more at the edges of the view, so that the curve reaches them; none where stretches meet.
        const before = (start - first) / period;
        const after = (end - first) / period;
        const low = Math.max(0, start === from ? Math.floor(before) : Math.ceil(before));
        const high = Math.min(values.length, end === to ? Math.ceil(after) + 1 : Math.ceil(after));
        const step = Math.max(1, Math.floor(((to - from) / period) / parts));
        if (step <= 2) {
          for (let i = low; i < high; i++) {
            x.push(first + i * period);
            y.push(values[i]);
          }
          continue;
        }
        // The parts lie on a grid of their own, so that a curve stands still while it is pushed along.
        for (let part = low - (low % step); part < high; part += step) {
          const i = Math.max(part, low);
          let least = -1;
          let greatest = -1;
          for (let k = i; k < Math.min(part + step, high); k++) {
            if (Number.isNaN(values[k])) continue;
            if (least < 0 || values[k] < values[least]) least = k;
            if (greatest < 0 || values[k] > values[greatest]) greatest = k;
          }
          if (least < 0) {
            x.push(first + i * period);
            y.push(NaN);
            continue;
          }
          if (border !== null) {
            x.push(first + i * period);
            y.push(values[border === "low" ? least : greatest]);
            continue;
          }
          const inOrder = least < greatest ? [least, greatest] : [greatest, least];
          for (const k of least === greatest ? [least] : inOrder) {
            x.push(first + k * period);
            y.push(values[k]);
          }
        }
      }
      return { x, y };
    }
  };
})();
