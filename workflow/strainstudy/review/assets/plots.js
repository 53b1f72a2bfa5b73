// Curves and lanes over one time axis. Everything drawn is a glyph of the plotting library; what is drawn is cut to the
// time in view each time that changes.
(() => {
  const PARTS = 900;
  const CLOSEST_S = 0.5;
  const RULES_UP_TO_S = 40;
  const ROW = 19;
  const LEFT = 142;
  const SHORT = { initial_contact: "contact", toe_off: "toe-off" };
  const YELLOW = "#F0E442";
  const PANELS = [
    ["raw", "raw"],
    ["response", "response \u0394R/R"],
    ["angle", "knee angle"],
  ];

  const field = (name) => ({ field: name });

  Review.Plots = class {
    constructor(content, place, handlers) {
      this.content = content;
      this.place = place;
      this.handlers = handlers;
      this.curves = content.series.map((entry) => new Review.Curve(entry));
      this.end = Math.max(content.duration, CLOSEST_S);
      const room = 0.01 * this.end;
      const limits = [-room, this.end + room];
      this.range = new Bokeh.Range1d({
        start: limits[0], end: limits[1], bounds: limits, min_interval: Math.min(CLOSEST_S, this.end),
      });
      this.shared = this._sources({ chosen: ["x0", "x1"], own: ["x"], detected: ["x"], stop: ["x"] });
      this.panels = PANELS.flatMap(([quantity, words]) => this._panels(quantity, words));
      this.lanes = this._lanes();
      this.scene = null;
      const overview = this._overview();
      const figures = [overview, ...this.panels.map((p) => p.figure), this.lanes.figure];
      figures.slice(1).forEach((figure) => this._listen(figure));
      const column = new Bokeh.Column({ children: figures, sizing_mode: "stretch_width", spacing: 2 });
      this.ready = Bokeh.Plotting.show(column, place).then((view) => {
        this.drawn = true;
        return view;
      });
      this.range.change.connect(() => this._later());
    }

    _sources(columns) {
      const sources = {};
      for (const [name, fields] of Object.entries(columns)) {
        sources[name] = new Bokeh.ColumnDataSource({ data: Object.fromEntries(fields.map((f) => [f, []])) });
      }
      return sources;
    }

    _figure(label, height, options = {}) {
      const figure = Bokeh.Plotting.figure({
        x_range: this.range, height, sizing_mode: "stretch_width", tools: "", toolbar_location: null,
        min_border_left: LEFT, min_border_right: 8, min_border_top: 3, min_border_bottom: 3,
        background_fill_color: "#FFFEFB", border_fill_color: "#FFFEFB", outline_line_color: "#D9D6CF", ...options,
      });
      figure.yaxis.axis_label = label;
      figure.yaxis.axis_label_text_font_style = "normal";
      figure.yaxis.axis_label_text_font_size = "12px";
      figure.xgrid.grid_line_color = "#E8E5DE";
      figure.ygrid.grid_line_color = "#F0EDE6";
      return figure;
    }

    _timeAxis(figure, shown) {
      figure.xaxis.visible = shown;
      if (shown) {
        figure.xaxis.axis_label = "time (s) from the first stored sample";
        figure.xaxis.axis_label_text_font_style = "normal";
      }
    }

    _zoomed(figure, dragged) {
      figure.add_tools(new Bokeh.WheelZoomTool({ dimensions: "width", modifiers: { ctrl: true } }));
      if (dragged) figure.add_tools(new Bokeh.PanTool({ dimensions: "width" }));
      this.hair ??= new Bokeh.Span({ dimension: "height", line_color: "#5D5D58", line_alpha: 0.6 });
      figure.add_tools(new Bokeh.CrosshairTool({ overlay: this.hair }));
    }

    /** One panel for each unit of a quantity, the points in their colours. */
    _panels(quantity, words) {
      const angle = quantity === "angle";
      const shown = this.curves.filter((c) => c.quantity === quantity || (angle && c.quantity === "reference_angle"));
      const units = [...new Set(shown.map((c) => c.unit))];
      return units.map((unit) => {
        const label = quantity === "response" && unit !== "1" ? "response" : words;
        const figure = this._figure(`${label} (${unit})`, 150);
        figure.y_range = new Bokeh.Range1d({ start: 0, end: 1 });
        const { chosen, own, detected, stop } = this.shared;
        figure.vstrip({ x0: field("x0"), x1: field("x1"), source: chosen, fill_color: YELLOW, fill_alpha: 0.45,
          line_color: null });
        const parts = [];
        for (const curve of shown.filter((c) => c.unit === unit)) {
          const colour = this.content.colours.points[curve.point];
          const reference = curve.quantity === "reference_angle";
          const source = new Bokeh.ColumnDataSource({ data: { x: [], y: [] } });
          const part = { curve, source };
          const border = (name) => this.curves.find((c) => c.point === curve.point && c.quantity === name);
          if (curve.quantity === "angle" && border("angle_low") && border("angle_high")) {
            part.band = new Bokeh.ColumnDataSource({ data: { x: [], low: [], high: [] } });
            part.borders = [border("angle_low"), border("angle_high")];
            figure.varea({ x: field("x"), y1: field("low"), y2: field("high"), source: part.band, fill_color: colour,
              fill_alpha: 0.2 });
          }
          figure.line({ x: field("x"), y: field("y"), source, line_color: reference ? "#000000" : colour,
            line_width: reference ? 1 : 1.5, line_dash: reference ? "dashed" : "solid" });
          parts.push(part);
        }
        figure.vspan(field("x"), { source: own, line_color: "#000000", line_alpha: 0.45, line_width: 1 });
        figure.vspan(field("x"), { source: detected, line_color: "#5D5D58", line_alpha: 0.6, line_width: 1,
          line_dash: "dotted" });
        figure.vspan(field("x"), { source: stop, line_color: "#000000", line_width: 1.5, line_dash: "dashed" });
        this._timeAxis(figure, false);
        this._zoomed(figure, true);
        return { figure, parts };
      });
    }

    _overview() {
      const whole = new Bokeh.Range1d({ start: this.range.start, end: this.range.end });
      const quantity = ["response", "angle", "raw"].find((name) => this.curves.some((c) => c.quantity === name));
      const shown = this.curves.filter((c) => c.quantity === quantity);
      const units = [...new Set(shown.map((c) => c.unit))].join(", ");
      const figure = this._figure(`${quantity === "response" ? "\u0394R/R" : quantity} (${units})`, 76, { x_range: whole });
      figure.yaxis.axis_label_text_font_size = "10px";
      figure.yaxis.major_label_text_font_size = "0px";
      figure.yaxis.major_tick_line_color = null;
      figure.yaxis.minor_tick_line_color = null;
      figure.ygrid.visible = false;
      for (const curve of shown) {
        const data = curve.view(0, this.end, 600);
        figure.line({ x: field("x"), y: field("y"), source: new Bokeh.ColumnDataSource({ data }),
          line_color: this.content.colours.points[curve.point], line_width: 0.8 });
      }
      const tool = new Bokeh.RangeTool({ x_range: this.range });
      tool.overlay.fill_color = YELLOW;
      tool.overlay.fill_alpha = 0.35;
      figure.add_tools(tool);
      return figure;
    }

    _lanes() {
      const figure = this._figure("marks", 200);
      figure.y_range = new Bokeh.Range1d({ start: 1, end: 0 });
      figure.yaxis.axis_label = null;
      figure.ygrid.visible = false;
      figure.yaxis.major_tick_line_color = null;
      figure.yaxis.minor_tick_line_color = null;
      const sources = this._sources({
        bands: ["top", "bottom", "colour"],
        spans: ["left", "right", "top", "bottom", "colour", "alpha", "line", "width"],
        ticks: ["x", "y0", "y1", "colour", "width"],
        heads: ["x", "y", "marker", "fill", "colour", "size"],
        texts: ["x", "y", "text"],
      });
      figure.hstrip({ y0: field("top"), y1: field("bottom"), source: sources.bands, fill_color: field("colour"),
        line_color: null });
      figure.vstrip({ x0: field("x0"), x1: field("x1"), source: this.shared.chosen, fill_color: YELLOW,
        fill_alpha: 0.45, line_color: null });
      figure.quad({ left: field("left"), right: field("right"), top: field("top"), bottom: field("bottom"),
        source: sources.spans, fill_color: field("colour"), fill_alpha: field("alpha"), line_color: field("line"),
        line_width: field("width") });
      figure.segment({ x0: field("x"), x1: field("x"), y0: field("y0"), y1: field("y1"), source: sources.ticks,
        line_color: field("colour"), line_width: field("width") });
      figure.scatter({ x: field("x"), y: field("y"), marker: field("marker"), size: field("size"),
        source: sources.heads, fill_color: field("fill"), line_color: field("colour") });
      figure.text({ x: field("x"), y: field("y"), text: field("text"), source: sources.texts, text_font_size: "11px",
        text_baseline: "middle", x_offset: 3, text_color: "#000000" });
      figure.vspan(field("x"), { source: this.shared.stop, line_color: "#000000", line_width: 1.5,
        line_dash: "dashed" });
      this._timeAxis(figure, true);
      this._zoomed(figure, false);
      return { figure, sources, rows: [] };
    }

    _listen(figure) {
      const lanes = figure === this.lanes.figure;
      const row = (event) => (lanes ? this.lanes.rows[Math.floor(event.y)] || null : null);
      figure.on_event("tap", (event) => this.handlers.tap(event.x, row(event)));
      figure.on_event("doubletap", (event) => this.handlers.twice(event.x, row(event)));
      if (!lanes) return;
      figure.on_event("panstart", (event) => this.handlers.grasp(event.x, row(event)));
      figure.on_event("pan", (event) => this.handlers.drag(event.x));
      figure.on_event("panend", (event) => this.handlers.release(event.x));
    }

    /** Seconds that so many pixels are. */
    secondsOf(pixels) {
      const width = Math.max(200, this.place.clientWidth - LEFT - 20);
      return (pixels * (this.range.end - this.range.start)) / width;
    }

    show(from, to) {
      const length = Math.min(Math.max(to - from, CLOSEST_S), 1.02 * this.end);
      const low = -0.01 * this.end;
      const start = Math.min(Math.max((from + to - length) / 2, low), low + 1.02 * this.end - length);
      this.range.setv({ start, end: start + length });
    }

    /** Draw other rows or marks; `scene` has rows, the marks chosen and the time stopped at. */
    draw(scene) {
      this.scene = scene;
      const { figure } = this.lanes;
      this.lanes.rows = scene.rows;
      const n = Math.max(scene.rows.length, 1);
      figure.y_range.setv({ start: n, end: 0 });
      figure.height = n * ROW + 62;
      figure.yaxis.ticker = new Bokeh.FixedTicker({ ticks: scene.rows.map((_, k) => k + 0.5) });
      figure.yaxis.major_label_overrides = new Map(scene.rows.map((row, k) => [k + 0.5, row.label]));
      this._refresh();
    }

    _later() {
      if (this._waiting) return;
      this._waiting = true;
      requestAnimationFrame(() => {
        this._waiting = false;
        this._refresh();
        this.handlers.moved(this.range.start, this.range.end);
      });
    }

    _refresh() {
      const { start, end } = this.range;
      for (const { figure, parts } of this.panels) {
        let low = Infinity;
        let high = -Infinity;
        for (const part of parts) {
          const data = part.curve.view(start, end, PARTS);
          part.source.data = data;
          for (let i = 0; i < data.y.length; i++) {
            if (data.x[i] < start || data.x[i] > end) continue;
            if (data.y[i] < low) low = data.y[i];
            if (data.y[i] > high) high = data.y[i];
          }
          if (part.band) {
            const [lower, upper] = part.borders.map((c, k) => c.view(start, end, PARTS, k === 0 ? "low" : "high"));
            part.band.data = { x: lower.x, low: lower.y, high: upper.y };
          }
        }
        if (low > high) [low, high] = [0, 1];
        const room = 0.06 * (high - low) || 0.5 * Math.abs(high) || 1;
        figure.y_range.setv({ start: low - room, end: high + room });
      }
      if (this.scene !== null) this._refreshLanes();
    }

    _refreshLanes() {
      const { start, end } = this.range;
      const { rows, chosen, stop } = this.scene;
      const { sources } = this.lanes;
      const bands = { top: [], bottom: [], colour: [] };
      const spans = { left: [], right: [], top: [], bottom: [], colour: [], alpha: [], line: [], width: [] };
      const ticks = { x: [], y0: [], y1: [], colour: [], width: [] };
      const heads = { x: [], y: [], marker: [], fill: [], colour: [], size: [] };
      const texts = { x: [], y: [], text: [] };
      const rules = { own: new Set(), detected: new Set() };
      const close = end - start <= RULES_UP_TO_S;
      const reach = this.secondsOf(3);
      rows.forEach((row, k) => {
        if (row.mine || row.first) {
          bands.top.push(k);
          bands.bottom.push(row.mine ? k + 1 : k + 0.03);
          bands.colour.push(row.mine ? "#F1ECDD" : "#BDB9AF");
        }
        for (const mark of row.marks) {
          const until = mark.onset + mark.duration;
          if (until < start - reach || mark.onset > end + reach) continue;
          const kind = Review.kindOf(this.content, mark.type);
          const own = mark === chosen;
          const colour = kind.sided ? this.content.colours.sides[mark.side] || "#000000" : kind.colour;
          if (close && row.rules) {
            rules[row.rules].add(mark.onset);
            if (!kind.instant) rules[row.rules].add(until);
          }
          if (kind.instant) {
            const contact = mark.type === "initial_contact";
            ticks.x.push(mark.onset);
            ticks.y0.push(k + 0.1);
            ticks.y1.push(k + 0.9);
            ticks.colour.push(own ? "#000000" : colour);
            ticks.width.push(own ? 3 : 1.5);
            heads.x.push(mark.onset);
            heads.y.push(contact ? k + 0.7 : k + 0.3);
            heads.marker.push(contact ? "inverted_triangle" : "triangle");
            heads.fill.push(contact ? colour : "#FFFEFB");
            heads.colour.push(own ? "#000000" : colour);
            heads.size.push(own ? 10 : 8);
          } else {
            spans.left.push(mark.onset);
            spans.right.push(Math.max(until, mark.onset + reach / 3));
            spans.top.push(k + 0.12);
            spans.bottom.push(k + 0.88);
            spans.colour.push(colour);
            spans.alpha.push(kind.sided ? 0.6 : 1);
            spans.line.push(own ? "#000000" : kind.lane === "labelled" ? "#5D5D58" : "#FFFEFB");
            spans.width.push(own ? 2.5 : 1);
          }
          const words = this._words(mark, kind);
          const left = Math.max(mark.onset, start);
          const room = kind.instant ? (end - start < 6 ? Infinity : 0) : Math.min(until, end) - left;
          if (room > this.secondsOf(6.2 * words.length + 8)) {
            texts.x.push(left + (kind.instant ? this.secondsOf(6) : 0));
            texts.y.push(k + 0.5);
            texts.text.push(words);
          }
        }
      });
      sources.bands.data = bands;
      sources.spans.data = spans;
      sources.ticks.data = ticks;
      sources.heads.data = heads;
      sources.texts.data = texts;
      this.shared.own.data = { x: [...rules.own] };
      this.shared.detected.data = { x: [...rules.detected] };
      this.shared.stop.data = { x: stop === null ? [] : [stop] };
      const half = this.secondsOf(4);
      const span = chosen === null ? [] : [chosen.onset, chosen.onset + chosen.duration];
      this.shared.chosen.data = { x0: span.slice(0, 1).map((t) => t - half), x1: span.slice(1).map((t) => t + half) };
    }

    _words(mark, kind) {
      if (mark.type === "knee_bend") return mark.value === null ? "bend" : `${Math.round(mark.value)} deg`;
      const side = mark.type === "limping_gait" && mark.side ? ` ${mark.side}` : "";
      return (SHORT[mark.type] || kind.words) + side;
    }
  };
})();
