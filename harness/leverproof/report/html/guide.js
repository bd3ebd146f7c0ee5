"use strict";
/* Draws the plots of the guide when they are first seen. Every text goes in as text, never as markup. */
(function () {
  var charts = [];
  var caseData = Numbers.caseData, times = Numbers.times, values = Numbers.values, at = Numbers.at, words = Numbers.words;

  function make(tag, attributes, children) {
    var node = document.createElement(tag);
    Object.keys(attributes || {}).forEach(function (name) { node.setAttribute(name, attributes[name]); });
    (children || []).forEach(function (child) { node.append(child); });
    return node;
  }

  function dashSample(index) {
    var svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    svg.setAttribute("viewBox", "0 0 34 8");
    svg.setAttribute("aria-hidden", "true");
    var path = document.createElementNS("http://www.w3.org/2000/svg", "path");
    path.setAttribute("d", "M1 4h32");
    path.setAttribute("class", "run r" + (index % 6));
    svg.append(path);
    return svg;
  }

  function colour(name) { return getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim(); }

  var DASHES = [[], [7, 3], [2, 2.5], [9, 3, 2, 3], [4, 4], [12, 3]];

  function parsed(text) { try { return JSON.parse(text || "[]"); } catch (reason) { return []; } }

  function Plot(place) {
    this.place = place;
    this.data = caseData(place.dataset.from);
    this.channel = place.dataset.channel;
    this.point = Number(place.dataset.point);
    this.wanted = parsed(place.dataset.runs);
    this.hidden = new Set();
    this.plots = [];
    this.reader = null;
    this.range = null;
    this.build();
    charts.push(this);
  }

  Plot.prototype.runs = function () {
    var point = this.point, wanted = this.wanted;
    return this.data.runs.filter(function (run) {
      return run.point === point && (!wanted.length || wanted.indexOf(run.run) >= 0);
    });
  };

  Plot.prototype.build = function () {
    var self = this;
    this.place.textContent = "";
    this.tools = make("div", { "class": "tools" });
    this.told = make("output", { "class": "told", "aria-live": "polite" });
    this.area = make("div", {
      tabindex: "0", role: "group",
      "aria-label": "Plot. Left and right read along it, with Shift they move the view, plus and minus zoom, 0 shows " +
        "the whole run. The readings table below holds the numbers.",
    });
    this.place.append(this.tools, this.area, this.told);
    this.area.addEventListener("keydown", function (event) { self.pressed(event); });
    this.controls();
    this.draw();
  };

  Plot.prototype.controls = function () {
    var self = this, data = this.data;
    this.tools.textContent = "";
    var channels = make("select", { "aria-label": "Channel" });
    Object.keys(data.channels).forEach(function (name) {
      var described = data.channels[name];
      var option = make("option", { value: name }, [described.name + (described.unit ? ", " + described.unit : "")]);
      option.selected = name === self.channel;
      channels.append(option);
    });
    channels.addEventListener("change", function () { self.channel = channels.value; self.draw(); });
    this.tools.append(channels);
    if (data.points.length > 1) {
      var points = make("select", { "aria-label": "Point of the sweep" });
      data.points.forEach(function (point) {
        var option = make("option", { value: String(point[0]) }, [point[1] || "point " + point[0]]);
        option.selected = point[0] === self.point;
        points.append(option);
      });
      points.addEventListener("change", function () {
        self.point = Number(points.value); self.range = null; self.controls(); self.draw();
      });
      this.tools.append(points);
    }
    var runs = make("fieldset", { "aria-label": "Runs" });
    this.runs().forEach(function (run, index) {
      var box = make("input", { type: "checkbox" });
      box.checked = !self.hidden.has(run.run);
      box.addEventListener("change", function () {
        if (box.checked) self.hidden.delete(run.run); else self.hidden.add(run.run);
        self.draw();
      });
      runs.append(make("label", {}, [box, dashSample(index), run.run]));
    });
    this.tools.append(runs);
    [["Zoom in", 0.5], ["Zoom out", 2], ["Whole run", 0]].forEach(function (said) {
      var button = make("button", { type: "button" }, [said[0]]);
      button.addEventListener("click", function () { self.zoom(said[1]); });
      self.tools.append(button);
    });
  };

  /* What is drawn: every shown run over the union of their instants, and each less the first. */
  Plot.prototype.series = function () {
    var self = this, runs = this.runs(), all = new Set();
    runs.forEach(function (run) { times(run).forEach(function (t) { all.add(t); }); });
    var xs = Float64Array.from(all).sort();
    var curves = runs.map(function (run, index) {
      var t = times(run), v = values(run, self.channel);
      return { label: run.run, index: index, run: run, shown: !self.hidden.has(run.run),
        values: Array.from(xs, function (x) { return at(t, v, x); }) };
    });
    var first = curves[0], apart = [];
    if (!this.data.channels[this.channel].states.length) {
      apart = curves.slice(1).map(function (curve) {
        return { label: curve.label + " less " + first.label, index: curve.index, run: curve.run,
          shown: curve.shown && first.shown, values: curve.values.map(function (value, i) {
            return value === null || first.values[i] === null ? null : value - first.values[i];
          }) };
      });
    }
    return { xs: Array.from(xs), curves: curves, apart: apart };
  };

  Plot.prototype.draw = function () {
    if (!this.data || !this.data.channels[this.channel]) return;
    this.plots.forEach(function (plot) { plot.destroy(); });
    this.plots = [];
    this.area.textContent = "";
    var drawn = this.series(), described = this.data.channels[this.channel];
    this.xs = drawn.xs;
    this.curves = drawn.curves;
    this.described = described;
    this.whole = [drawn.xs[0], drawn.xs[drawn.xs.length - 1]];
    var unit = described.unit ? ", " + described.unit : "";
    this.plots = [this.one(described.name + unit, drawn.curves, 240, true)];
    if (drawn.apart.some(function (curve) { return curve.shown; })) {
      this.plots.push(this.one("difference in " + described.name + unit, drawn.apart, 150, false));
    }
    if (this.range) this.show(this.range[0], this.range[1]);
    this.read();
  };

  Plot.prototype.one = function (title, curves, height, expected) {
    var self = this, shown = curves.filter(function (curve) { return curve.shown; });
    var states = this.described.states;
    this.area.append(make("p", { "class": "plot-title" }, [title]));
    var host = make("div");
    this.area.append(host);
    var axis = { stroke: function () { return colour("ink"); }, grid: { stroke: function () { return colour("line"); }, width: 1 },
      ticks: { stroke: function () { return colour("line"); }, width: 1 }, font: "12px sans-serif" };
    var vertical = Object.assign({}, axis, { size: 64 });
    if (states.length && expected) {
      vertical.splits = function () { return states.map(function (_, i) { return i; }); };
      vertical.values = function () { return states; };
    }
    return new uPlot({
      width: Math.max(260, this.place.clientWidth), height: height, legend: { show: false },
      scales: { x: { time: false }, y: { range: function (u, low, high) { return self.limits(low, high, expected); } } },
      cursor: { drag: { x: true, y: false }, y: false },
      axes: [Object.assign({}, axis, { label: undefined, values: function (u, splits) {
        return splits.map(function (v) { return v + " s"; }); } }), vertical],
      series: [{}].concat(shown.map(function (curve) {
        return { stroke: function () { return colour("r" + (curve.index % 6)); }, width: 1.8,
          dash: DASHES[curve.index % 6], points: { show: false }, spanGaps: false };
      })),
      hooks: {
        drawClear: [function (u) { if (expected) self.band(u); }],
        draw: [function (u) { self.marks(u, shown); }],
        setCursor: [function (u) { if (u.cursor.idx !== null && u.cursor.left >= 0) self.follow(u); }],
        setSelect: [function (u) {
          if (u.select.width > 3) {
            var a = u.posToVal(u.select.left, "x"), b = u.posToVal(u.select.left + u.select.width, "x");
            self.range = [a, b];
            setTimeout(function () { self.show(a, b); }, 0);
          }
        }],
      },
    }, [this.xs].concat(shown.map(function (curve) { return curve.values; })), host);
  };

  Plot.prototype.expectations = function () {
    var self = this;
    return this.data.expected.filter(function (e) { return e.channel === self.channel && e.point === self.point; });
  };

  Plot.prototype.limits = function (low, high, expected) {
    if (low === null || low === undefined) return [0, 1];
    if (expected && this.described.states.length) return [-0.2, this.described.states.length - 0.8];
    if (expected) this.expectations().forEach(function (e) {
      low = Math.min(low, e.value - e.tolerance); high = Math.max(high, e.value + e.tolerance);
    });
    var room = (high - low || Math.abs(high) * 0.01 || 1) * 0.06;
    return [low - room, high + room];
  };

  Plot.prototype.band = function (u) {
    var context = u.ctx, box = u.bbox;
    this.expectations().forEach(function (e) {
      var high = u.valToPos(e.value + e.tolerance, "y", true), low = u.valToPos(e.value - e.tolerance, "y", true);
      var line = u.valToPos(e.value, "y", true);
      context.save();
      context.fillStyle = colour("ink");
      context.globalAlpha = 0.12;
      context.fillRect(box.left, high, box.width, low - high);
      context.globalAlpha = 1;
      context.strokeStyle = colour("ink");
      context.setLineDash([8, 3, 2, 3]);
      context.beginPath(); context.moveTo(box.left, line); context.lineTo(box.left + box.width, line); context.stroke();
      context.restore();
    });
  };

  Plot.prototype.marks = function (u, shown) {
    var self = this, context = u.ctx, box = u.bbox, ratio = window.devicePixelRatio || 1, taken = -1e9, named = new Set();
    context.save();
    context.font = 11 * ratio + "px sans-serif";
    context.strokeStyle = context.fillStyle = colour("soft");
    context.textAlign = "left";
    context.textBaseline = "alphabetic";
    context.setLineDash([2 * ratio, 3 * ratio]);
    var all = [];
    shown.forEach(function (curve) { curve.run.readings.forEach(function (r) { all.push(r); }); });
    all.sort(function (a, b) { return a[1] - b[1]; });
    all.forEach(function (reading) {
      var key = reading[0] + "@" + Math.round(reading[1]);
      var x = u.valToPos(reading[1], "x", true);
      if (named.has(key) || x < box.left || x > box.left + box.width) return;
      named.add(key);
      context.beginPath(); context.moveTo(x, box.top); context.lineTo(x, box.top + box.height); context.stroke();
      if (x - taken > 70 * ratio) {
        var late = x > box.left + box.width - 90 * ratio;
        context.textAlign = late ? "right" : "left";
        context.fillText(reading[0].slice(0, 16), x + (late ? -3 : 3) * ratio, box.top + box.height - 5 * ratio, 90 * ratio);
        taken = x;
      }
    });
    context.setLineDash([]);
    context.lineWidth = 1.8 * ratio;
    context.fillStyle = colour("sheet");
    if (u === this.plots[0] || !this.plots.length) shown.forEach(function (curve) {
      context.strokeStyle = colour("r" + (curve.index % 6));
      curve.run.readings.forEach(function (reading) {
        var value = at(times(curve.run), values(curve.run, self.channel), reading[1]);
        var x = u.valToPos(reading[1], "x", true);
        if (value === null || x < box.left || x > box.left + box.width) return;
        context.beginPath(); context.arc(x, u.valToPos(value, "y", true), 3.5 * ratio, 0, 7);
        context.fill(); context.stroke();
      });
    });
    context.restore();
  };

  Plot.prototype.follow = function (u) { this.reader = this.xs[u.cursor.idx]; this.read(); };

  /* Says the values at the reading line, for eyes and for screen readers. */
  Plot.prototype.read = function () {
    var self = this;
    if (this.reader === null) {
      this.told.textContent = "Thinned; the record holds every sample. Point at the plot, or focus it and use the arrow keys.";
      return;
    }
    var x = this.reader, parts = ["at " + x.toFixed(2) + " s"];
    this.curves.filter(function (curve) { return curve.shown; }).forEach(function (curve) {
      parts.push(curve.label + " " + words(at(times(curve.run), values(curve.run, self.channel), x), self.described));
    });
    this.told.textContent = parts.join(" · ");
  };

  Plot.prototype.show = function (low, high) {
    low = Math.max(low, this.whole[0]); high = Math.min(high, this.whole[1]);
    if (!(high > low)) { low = this.whole[0]; high = this.whole[1]; }
    this.range = [low, high];
    this.place.dataset.view = low.toFixed(2) + " " + high.toFixed(2);
    this.plots.forEach(function (plot) {
      plot.setScale("x", { min: low, max: high });
      plot.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
    });
  };

  Plot.prototype.zoom = function (factor) {
    if (!factor) { this.show(this.whole[0], this.whole[1]); return; }
    var range = this.range || this.whole, middle = this.reader;
    if (middle === null || middle < range[0] || middle > range[1]) middle = (range[0] + range[1]) / 2;
    this.show(middle - (middle - range[0]) * factor, middle + (range[1] - middle) * factor);
  };

  Plot.prototype.pressed = function (event) {
    var range = this.range || this.whole, span = range[1] - range[0], key = event.key;
    if (event.target !== this.area || event.ctrlKey || event.altKey || event.metaKey) return;
    if (key === "+" || key === "=") this.zoom(0.5);
    else if (key === "-") this.zoom(2);
    else if (key === "0") this.zoom(0);
    else if (key === "ArrowLeft" || key === "ArrowRight") {
      var sign = key === "ArrowLeft" ? -1 : 1;
      if (event.shiftKey) {
        var move = Math.max(this.whole[0] - range[0], Math.min(this.whole[1] - range[1], sign * span / 4));
        this.show(range[0] + move, range[1] + move);
      } else this.step(sign * span / 100, range);
    } else return;
    event.preventDefault();
  };

  Plot.prototype.step = function (by, range) {
    var from = this.reader === null ? (range[0] + range[1]) / 2 : this.reader;
    this.reader = Math.max(range[0], Math.min(range[1], from + by));
    var reader = this.reader;
    this.plots.forEach(function (plot) {
      plot.setCursor({ left: plot.valToPos(reader, "x"), top: 10 }, false);
    });
    this.read();
  };

  function seen(place) {
    if (place.dataset.made) return;
    place.dataset.made = "yes";
    var plot = new Plot(place);
    if (plot.plots.length && place.parentElement.tagName === "FIGURE") place.parentElement.classList.add("drawn");
  }

  document.querySelectorAll(".live").forEach(function (place) {
    if (!document.getElementById(place.dataset.from)) place.remove();
  });
  var watcher = new IntersectionObserver(function (entries) {
    entries.forEach(function (entry) {
      if (entry.isIntersecting) { watcher.unobserve(entry.target); seen(entry.target); }
    });
  }, { rootMargin: "100px" });
  document.querySelectorAll(".live").forEach(function (place) { watcher.observe(place); });

  function again() { charts.forEach(function (plot) { plot.draw(); }); }
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
  var waiting = 0;
  window.addEventListener("resize", function () { clearTimeout(waiting); waiting = setTimeout(again, 150); });

  /* A link into a folded part unfolds it. */
  function unfold() {
    var name = decodeURIComponent(location.hash.slice(1));
    var target = name ? document.getElementById(name) : null;
    for (var node = target; node; node = node.parentElement) if (node.tagName === "DETAILS") node.open = true;
    if (target && target.tagName === "DETAILS") { target.scrollIntoView(); target.firstElementChild.focus(); }
  }
  window.addEventListener("hashchange", unfold);
  unfold();
})();
