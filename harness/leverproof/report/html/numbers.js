"use strict";
/* The numbers of the guide's cases, unpacked when they are first asked for. */
var Numbers = (function () {
  var decoded = new Map();

  function caseData(id) {
    if (!decoded.has(id)) {
      var node = document.getElementById(id);
      decoded.set(id, node ? JSON.parse(node.textContent) : null);
    }
    return decoded.get(id);
  }

  /* Rows of the time grid at which a run's points lie: two a stretch, or all of it where it was kept whole. */
  function times(run) {
    if (run.times) return run.times;
    var rows = [], stretches = Math.ceil(run.n / run.size), whole = new Set();
    run.whole.forEach(function (part) { for (var i = part[0]; i < part[1]; i++) whole.add(i); });
    for (var i = 0; i < stretches; i++) {
      var start = i * run.size;
      if (run.size === 1) { rows.push(start); continue; }
      if (whole.has(i)) {
        for (var k = start; k < Math.min(start + run.size, run.n); k++) rows.push(k);
      } else {
        rows.push(Math.min(start, run.n - 1), Math.min(start + run.size - 1, run.n - 1));
      }
    }
    run.times = rows.map(function (row) { return row * run.step; });
    return run.times;
  }

  function values(run, channel) {
    var held = run.channels[channel], count = times(run).length;
    if (!held) return new Array(count).fill(null);
    if (held.flat !== undefined) return new Array(count).fill(held.flat);
    if (held.values) return held.values;
    var bytes = Uint8Array.from(atob(held.b), function (c) { return c.charCodeAt(0); });
    var view = new DataView(bytes.buffer), out = new Array(bytes.length / 2);
    for (var i = 0; i < out.length; i++) {
      var level = view.getUint16(2 * i, true);
      out[i] = level === 65535 ? null : held.low + (held.high - held.low) * level / 65534;
    }
    held.values = out;
    return out;
  }

  function at(xs, ys, x) {
    var low = 0, high = xs.length - 1;
    if (high < 0 || x < xs[0] || x > xs[high]) return null;
    while (high - low > 1) { var middle = (low + high) >> 1; if (xs[middle] <= x) low = middle; else high = middle; }
    if (ys[low] === null || ys[high] === null) return xs[low] === x ? ys[low] : null;
    if (high === low || xs[high] === xs[low]) return ys[low];
    return ys[low] + (ys[high] - ys[low]) * (x - xs[low]) / (xs[high] - xs[low]);
  }

  function words(value, described) {
    if (value === null || value === undefined) return "-";
    var state = described.states[Math.round(value)];
    if (state !== undefined) return state;
    return value.toLocaleString("en-GB", { maximumSignificantDigits: 5 }) + (described.unit ? " " + described.unit : "");
  }

  return { caseData: caseData, times: times, values: values, at: at, words: words };
})();
