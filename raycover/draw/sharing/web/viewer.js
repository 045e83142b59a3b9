"use strict";
// The page's own script: draws what Python packed, recolours the map when detectors are switched, answers clicks.
(async function () {
  const $ = (id) => document.getElementById(id);
  const data = JSON.parse($("data").textContent);
  const make = (tag, text, className) => {
    const made = document.createElement(tag);
    if (text !== undefined) made.textContent = text;
    if (className) made.className = className;
    return made;
  };

  if (typeof DecompressionStream === "undefined") {
    $("problem").hidden = false;
    $("problem").textContent = "This browser is too old for this page: it needs one of 2023 or later.";
    return;
  }
  // Arrays: base64, inflated by the browser.
  const packed = Uint8Array.from(atob($("arrays").textContent.trim()), (c) => c.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  const bytes = await new Response(stream).arrayBuffer();
  const KINDS = { Float32Array, Int32Array, Uint32Array, Int16Array, Int8Array };
  const array = ([kind, at, n]) => new KINDS[kind](bytes, at, n);
  const summed = (ref) => { const a = Int32Array.from(array(ref)); for (let k = 1; k < a.length; k++) a[k] += a[k - 1]; return a; };

  // What is shown.
  const state = { plane: 0, on: data.units.map(() => true), lobes: data.units.map((u) => u.lobe), cut: data.cut, chosen: null,
    show: { marks: true, names: true, hatching: true, footprints: true, goods: true, racking: true, people: true, edges: true } };
  const WORDS = { marks: "detectors", names: "names, letters", hatching: "hatched gaps", footprints: "footprints", goods: "goods", racking: "racking", people: "seated people (amber: not noticed)", edges: "edges" };

  // Margins: all detectors, or the best of those that are on.
  const percent = (v) => (v > 0 && v < 0.0005 ? "< 0.1 %" : v >= 0.9995 && v < 1 - 1e-9 ? "99.9 %" : (100 * v).toFixed(1) + " %");
  const signed = (v) => (v === -Infinity ? "none" : (v < 0 ? "−" : "+") + Math.abs(v).toFixed(1) + " dB");
  const metres = (v) => v.toFixed(2);
  const classOf = (m) => (m < -data.reserve ? 0 : m < 0 ? 1 : m < data.reserve ? 2 : 3);
  const colourOf = (m) => {
    const c = data.classes[classOf(m)];
    const low = data.classes[0].from, high = data.classes[3].to;
    const step = Math.floor((Math.min(Math.max(m, low), high) - c.from) / 0.25 + 1e-9);
    return c.rgb[Math.min(Math.max(step, 0), c.rgb.length - 1)];
  };
  const everyone = () => state.on.every(Boolean);

  function unpackMap(map) {
    if (map.cells) return map;
    map.cells = { corners: array(map.corners), where: summed(map.where), margin: array(map.margin), area: array(map.area), cause: array(map.cause), best: array(map.best), gap: array(map.gap) };
    for (const patch of map.patches) { patch.at = summed(patch.cells); patch.values = array(patch.margin); }
    return map;
  }
  function margins(map) {
    if (everyone() || !data.each) return { margin: map.cells.margin, best: map.cells.best };
    const margin = new Float32Array(map.cells.margin.length).fill(-Infinity), best = new Int32Array(margin.length).fill(-1);
    for (const patch of map.patches) {
      if (!state.on[patch.unit]) continue;
      for (let k = 0; k < patch.at.length; k++) if (patch.values[k] > margin[patch.at[k]]) { margin[patch.at[k]] = patch.values[k]; best[patch.at[k]] = patch.unit; }
    }
    return { margin, best };
  }
  const plane = () => data.planes[state.plane];
  const maps = () => plane().levels.flatMap((level) => level.maps);

  // What a cell says. `cell` counts a map's cells; row and column are those of its raster.
  function probe(mapIndex, cell) {
    const map = unpackMap(maps()[mapIndex]);
    const now = map.now || margins(map), margin = now.margin[cell];
    const where = map.cells.where[cell], corner = map.cells.corners.subarray(12 * cell, 12 * cell + 12);
    const each = map.patches.flatMap((p) => {
      if (!state.on[p.unit]) return [];
      let low = 0, high = p.at.length - 1;
      while (low < high) { const middle = (low + high) >> 1; if (p.at[middle] < cell) low = middle + 1; else high = middle; }
      return p.at[low] === cell ? [{ name: data.units[p.unit].name, margin: p.values[low] }] : [];
    }).sort((a, b) => b.margin - a.margin);
    const best = now.best[cell] >= 0 ? data.units[now.best[cell]].name : null;
    let cause = null;
    if (margin < 0) {
      const gap = map.gaps.find((g) => g.label === map.cells.gap[cell]);
      const who = data.causes[map.cells.cause[cell]];
      cause = !everyone() ? "not all detectors are on" : best === null ? "no detector" : (who || "no detector").replace("{who}", best);
      if (everyone() && gap && gap.cause) cause = gap.cause.startsWith("hidden by") && who && who.startsWith("hidden") ? gap.cause : cause;
    }
    return { plane: map.name, row: Math.floor(where / map.columns), column: where % map.columns,
      x: (corner[0] + corner[6]) / 2, y: (corner[1] + corner[7]) / 2, z: corner[2], margin, class: data.classes[classOf(margin)].name, best, cause, detectors: each };
  }

  // Texts that never change.
  $("title").textContent = data.title;
  $("caution").textContent = data.caution.join(" ");
  $("made").textContent = [data.revision, "raycover " + data.raycover].filter(Boolean).join(" · ");

  let drawn = null; // what draws, once there is WebGL

  function fillHead() {
    $("words").textContent = plane().words;
    $("planes").replaceChildren(...data.planes.map((p, k) => {
      const b = make("button", p.name); b.type = "button"; b.setAttribute("aria-pressed", k === state.plane); b.onclick = () => choosePlane(k); return b;
    }));
    let area = 0, by = [0, 0, 0, 0];
    for (const map of maps()) { const m = map.now.margin, a = map.cells.area; for (let k = 0; k < m.length; k++) { area += a[k]; by[classOf(m[k])] += a[k]; } }
    const share = (v) => (area ? v / area : 0);
    $("share").textContent = percent(share(by[2] + by[3]));
    const n = state.on.filter(Boolean).length, of = data.units.length;
    $("shares").textContent = `of the ${plane().mapped} is seen, ${percent(share(by[3]))} assured` + (n === of ? "" : data.each ? `, by ${n} of ${of} detectors` : ", by all detectors: a map so large does not follow");
    legend(by.map(share));
  }
  function legend(shares) {
    const rows = [];
    const sign = (v) => (v > 0 ? "+" : v < 0 ? "−" : "") + Math.abs(v);
    for (let k = 3; k >= 0; k--) {
      const c = data.classes[k];
      if (c.to <= c.from) continue;
      const block = make("div", undefined, "block"), tick = make("div", undefined, "tick");
      block.style.height = Math.max(24, 6.2 * (c.to - c.from)) + "px";
      const stops = c.rgb.map((rgb, i) => `rgb(${rgb}) ${(100 * i) / c.rgb.length}% ${(100 * (i + 1)) / c.rgb.length}%`).join(",");
      const lines = k > 1 ? "" : `repeating-linear-gradient(135deg, rgba(255,255,255,.62) 0 1px, transparent 1px ${k ? 10 : 5}px),`;
      block.style.background = `${lines} linear-gradient(to top, ${stops})`;
      if (k === 3) tick.append(make("span", sign(c.to), "top"));
      if (k > 0) tick.append(make("span", sign(c.from)));
      rows.push(block, tick, make("div", c.name, "name"), make("div", percent(shares[k]), "part"));
    }
    $("legend").replaceChildren(...rows);
  }
  function fillUnits() {
    const passed = data.units.some((unit, k) => state.lobes[k] && state.on[k] && unit.lobes[plane().motion] && unit.lobes[plane().motion].beyond);
    $("through").hidden = !passed; $("through").firstChild.style.background = data.through;
    $("units").replaceChildren(...data.units.map((unit, k) => {
      const li = make("li"), on = make("input"), name = make("label", undefined, "name"), lobed = make("label", undefined, "lobed"), lobe = make("input"), alone = make("button", "alone");
      on.type = lobe.type = "checkbox"; alone.type = "button"; on.id = "unit" + k;
      on.checked = state.on[k]; on.setAttribute("aria-label", unit.name + " on"); on.onchange = () => setOn(k, on.checked);
      name.htmlFor = on.id; name.append(make("b", unit.name), make("span", `${unit.title}, at ${unit.mounting} m`, "what"));
      lobe.checked = state.lobes[k]; lobe.disabled = !unit.lobes[plane().motion]; lobe.onchange = () => { state.lobes[k] = lobe.checked; update(); };
      const tint = make("i", undefined, "tint"), shell = unit.lobes[plane().motion];
      if (shell) { tint.style.background = shell.tint; if (shell.beyond) tint.style.borderRight = `.45em solid ${data.through}`; }
      lobed.title = shell && shell.beyond ? "violet: what has come through a wall" : ""; lobed.append(lobe, tint, "lobe"); alone.onclick = () => solo(k);
      li.append(on, name, lobed, alone);
      return li;
    }));
  }
  function fillGaps() {
    const rows = [];
    maps().forEach((map, m) => map.gaps.filter((g) => g.letter).forEach((gap) => {
      const li = make("li"), b = make("button"), what = make("span");
      b.type = "button";
      what.append(gap.cause, make("span", [map.name !== plane().name ? map.name : "", gap.room, `widest circle ${gap.widest.toFixed(2)} m`].filter(Boolean).join(" · "), "what"));
      b.append(make("b", gap.letter), what, make("span", (gap.area < 99.95 ? gap.area.toFixed(1) : gap.area.toFixed(0)) + " m²"));
      b.onclick = () => { choose(m, gap.cell); if (drawn) drawn.goTo(state.chosen); };
      li.append(b); rows.push(li);
    }));
    const whole = everyone();
    $("gaps").replaceChildren(...(rows.length ? rows : [make("li", "none")]));
    $("gaps").parentElement.querySelector("h2").textContent = whole || !rows.length ? "Gaps" : "Gaps with all detectors on";
  }
  function fillProbe() {
    const at = state.chosen, box = $("probe");
    if (!at) { box.replaceChildren(make("p", "Click or tap the map, or choose a gap.", "note")); return; }
    const found = probe(at.map, at.cell), what = make("p", undefined, "state"), swatch = make("span", undefined, "swatch"), table = make("table");
    swatch.style.background = `rgb(${colourOf(found.margin)})`;
    what.append(swatch, found.margin === -Infinity ? found.class : `${signed(found.margin)}, ${found.class}`);
    for (const one of found.detectors.slice(0, 4)) { const tr = table.insertRow(); tr.insertCell().textContent = one.name; tr.insertCell().textContent = signed(one.margin); }
    box.replaceChildren(what, ...(found.cause ? [make("p", found.cause)] : found.best ? [make("p", `seen best by ${found.best}`)] : []),
      make("p", `${found.plane}: x ${metres(found.x)}, y ${metres(found.y)} m`, "note"), table);
  }
  function fillSwitches() {
    const has = (group) => group === "people" || group === "goods" || group === "racking" ? plane().levels.some((l) => l.parts.some((p) => p.group === group)) : true;
    $("switches").replaceChildren(...Object.keys(WORDS).filter(has).map((key) => {
      const label = make("label"), box = make("input"); box.type = "checkbox"; box.checked = state.show[key];
      box.onchange = () => { state.show[key] = box.checked; update(); }; label.append(box, WORDS[key]); return label;
    }));
    const cut = $("cut"), tall = Math.max(...plane().levels.map((l) => l.tall)) + 0.05;
    cut.min = 0.1; cut.max = tall.toFixed(2); cut.step = 0.05; cut.value = state.cut; cut.oninput = () => { state.cut = +cut.value; sayCut(); if (drawn) drawn.refresh(); };
    sayCut();
  }
  function sayCut() { $("cut").value = state.cut; $("cutm").textContent = state.cut >= +$("cut").max - 0.03 ? "whole" : state.cut.toFixed(2) + " m"; }

  // What people do.
  function recolour() { for (const map of maps()) { unpackMap(map); map.now = margins(map); } if (drawn) drawn.recolour(); }
  function update() { fillHead(); fillUnits(); fillGaps(); fillProbe(); fillSwitches(); if (drawn) drawn.refresh(); }
  function choosePlane(k) { state.plane = k; state.chosen = null; maps().forEach(unpackMap); if (drawn) drawn.build(); recolour(); update(); }
  function setOn(k, on) { state.on[k] = on; recolour(); update(); }
  function solo(k) { state.on = state.on.map((_, i) => i === k); state.lobes = state.lobes.map((_, i) => i === k); recolour(); update(); }
  function allOn() { state.on.fill(true); state.lobes = data.units.map((u) => u.lobe); recolour(); update(); }
  function step(by) { const n = data.units.length; if (!n) return; const now = everyone() ? -1 : state.on.indexOf(true); solo(now < 0 ? (by > 0 ? 0 : n - 1) : (now + by + n) % n); }
  function choose(map, cell) { state.chosen = { map, cell }; fillProbe(); if (drawn) drawn.refresh(); }
  function flip(key) { state.show[key] = !state.show[key]; update(); }
  function flipLobes() { const any = state.lobes.some(Boolean); state.lobes = data.units.map((u) => !any && u.lobe); update(); }
  function help(open) { $("help").hidden = open === undefined ? !$("help").hidden : !open; $("helper").setAttribute("aria-expanded", !$("help").hidden); }
  const KEYS = [
    ["1 … 9", "plane by number", null], ["→ ←", "one detector after another, alone"], ["a", "all detectors again"], ["d", "detectors' marks"], ["l", "lobes"],
    ["g", "hatching of gaps"], ["n", "names and letters"], ["+ −", "nearer, farther"], ["[ ]", "turn"], ["Page up, down", "cut higher, lower"], ["t", "plan, from above"], ["i", "oblique again"],
    ["h", "this help"], ["", ""], ["drag", "turn the building"], ["right button, or two fingers", "move it"], ["wheel, or pinch", "nearer, farther"], ["click, tap", "what holds at a cell"]];
  const list = make("dl"); KEYS.forEach(([key, does]) => list.append(make("dt", key), make("dd", does)));
  $("help").append(make("h2", "Help and keys"), list);
  $("helper").onclick = () => help(); $("all").onclick = allOn;
  const ACTIONS = { ArrowRight: () => step(1), ArrowLeft: () => step(-1), a: allOn, d: () => flip("marks"), l: flipLobes, g: () => flip("hatching"), n: () => flip("names"), h: () => help(), Escape: () => help(false),
    t: () => drawn && drawn.look(null), i: () => drawn && drawn.home(), "+": () => drawn && drawn.zoom(1.25), "=": () => drawn && drawn.zoom(1.25), "-": () => drawn && drawn.zoom(0.8),
    "[": () => drawn && drawn.turn(-15), "]": () => drawn && drawn.turn(15), PageUp: () => cutBy(0.25), PageDown: () => cutBy(-0.25) };
  function cutBy(m) { state.cut = Math.min(Math.max(Math.round((state.cut + m) * 20) / 20, 0.1), +$("cut").max); sayCut(); if (drawn) drawn.refresh(); }
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const typing = event.target instanceof HTMLInputElement && event.target.type === "range";
    if (typing && (event.key.startsWith("Arrow") || event.key.startsWith("Page"))) return;
    if (/^[1-9]$/.test(event.key) && +event.key <= data.planes.length) { choosePlane(+event.key - 1); return; }
    const action = ACTIONS[event.key];
    if (action) { action(); event.preventDefault(); }
  });

  maps().forEach(unpackMap); recolour(); update();
  window.raycover = { data, state, probe, choosePlane, setOn, choose, maps, ready: false };
  try { drawn = stage(); drawn.build(); drawn.home(); recolour(); update(); }
  catch (error) {
    $("problem").hidden = false;
    $("problem").textContent = "Your browser draws no 3D here (WebGL is off or missing): figures, legend and gaps beside this still hold.";
    console.warn(String(error));
  }
  window.raycover.drawn = drawn; window.raycover.ready = true; document.documentElement.dataset.ready = drawn ? "drawn" : "figures";

  // The stage: three.js, parallel projection, drawn anew only when something changes.
  function stage() {
    const T = THREE, canvas = $("view"), box = $("stage");
    const renderer = new T.WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: false });
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
    renderer.localClippingEnabled = true;
    renderer.setClearColor(0xffffff, 1);
    const scene = new T.Scene(), camera = new T.OrthographicCamera(-1, 1, 1, -1, -1e4, 1e4);
    camera.up.set(0, 0, 1);
    const controls = new T.OrbitControls(camera, canvas);
    controls.zoomToCursor = true; controls.maxPolarAngle = Math.PI / 2; controls.minZoom = 0.2; controls.maxZoom = 60;
    const key = new T.DirectionalLight(0xfff8ee, 1.35), fill = new T.DirectionalLight(0xe3ecf5, 0.55);
    scene.add(new T.AmbientLight(0xffffff, 1.95), key, fill, key.target, fill.target);
    const built = new T.Group(); scene.add(built);
    const made = new Map();
    let parts = [], mapMeshes = [], labels = [], lobes = [], clips = [], prints = [], drops = null, radius = 10, centre = new T.Vector3(), asked = 0;

    const geometry = (ref, offset) => {
      const name = JSON.stringify([ref.at, ref.index, offset || 0]);
      if (!made.has(name)) {
        const g = new T.BufferGeometry();
        g.setAttribute("position", new T.BufferAttribute(array(ref.at), 3)); g.setIndex(new T.BufferAttribute(array(ref.index), 1)); made.set(name, g);
      }
      return made.get(name);
    };
    const HATCHED = { vertexShader: `attribute vec3 tint; attribute float kind; varying vec3 vTint; varying float vKind; varying vec3 vAt;
        void main() { vTint = tint; vKind = kind; vAt = position; gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }`,
      fragmentShader: `uniform float apart; varying vec3 vTint; varying float vKind; varying vec3 vAt;
        void main() { vec3 c = vTint;
          if (vKind > 0.5 && apart > 0.0) { float gap = apart * (vKind > 1.5 ? 2.0 : 1.0), s = (vAt.x - vAt.y) * 0.70710678;
            float off = abs(mod(s + gap * 0.5, gap) - gap * 0.5), w = fwidth(s), wide = apart * 0.065;
            float a = clamp((wide - off) / max(w, 1e-6) + 0.5, 0.0, 1.0) * min(1.0, wide * 6.0 / max(w, 1e-6)); c = mix(c, vec3(1.0), a * 0.62); }
          gl_FragColor = vec4(c, 1.0); }` };

    function build() {
      built.clear(); parts = []; mapMeshes = []; lobes = []; clips = []; prints = []; labels = []; $("labels").replaceChildren();
      const here = plane(), bounds = new T.Box3();
      here.levels.forEach((level) => {
        const clip = new T.Plane(new T.Vector3(0, 0, -1), 0); clips.push({ clip, floor: level.floor, tall: level.tall });
        level.parts.forEach((part) => addPart(part, part.cut && !part.tops ? [clip] : [], level));
        level.maps.forEach((map) => {
          unpackMap(map);
          const n = map.cells.margin.length, g = new T.BufferGeometry(), index = new Uint32Array(6 * n);
          for (let k = 0; k < n; k++) index.set([4 * k, 4 * k + 1, 4 * k + 2, 4 * k, 4 * k + 2, 4 * k + 3], 6 * k);
          g.setAttribute("position", new T.BufferAttribute(map.cells.corners, 3)); g.setIndex(new T.BufferAttribute(index, 1));
          g.setAttribute("tint", new T.BufferAttribute(new Uint8Array(12 * n), 3, true)); g.setAttribute("kind", new T.BufferAttribute(new Uint8Array(4 * n), 1));
          const mesh = new T.Mesh(g, new T.ShaderMaterial({ ...HATCHED, side: T.DoubleSide, uniforms: { apart: { value: 0 } } }));
          mesh.frustumCulled = false; built.add(mesh); mapMeshes.push({ mesh, map });
          g.computeBoundingBox(); bounds.union(g.boundingBox);
        });
        if (here.levels.length > 1 && level.maps.length) {
          // At the corner farthest left in the view that the page opens with.
          const p = level.maps[0].cells.corners, a = (here.azimuth * Math.PI) / 180; let at = [0, 0, 0], least = Infinity;
          for (let k = 0; k < p.length; k += 3) { const across = p[k + 1] * Math.cos(a) - p[k] * Math.sin(a); if (across < least) { least = across; at = [p[k], p[k + 1], p[k + 2]]; } }
          label("storey", level.name, at, 3, -8);
        }
        level.rooms.forEach((room) => label("room", room.name, room.at, 1, 0));
      });
      const size = bounds.getSize(new T.Vector3());
      bounds.getCenter(centre); radius = Math.max(size.length() / 2, 1);
      mapMeshes.forEach(({ mesh }) => { mesh.material.uniforms.apart.value = radius / 55; });
      const segments = [];
      data.units.forEach((unit, k) => {
        const made = label("unit " + unit.kind, unit.name, here.tops[k], 4, 0); made.unit = k;
        segments.push(...here.tops[k], ...here.feet[k]);
        const lobe = unit.lobes[here.motion];
        if (lobe) {
          const group = new T.Group();
          const shell = (part, color, opacity) => new T.Mesh(geometry(part), new T.MeshBasicMaterial({ color, transparent: true, opacity, depthWrite: false, side: T.FrontSide }));
          group.add(shell(lobe, lobe.tint, 0.2), new T.LineSegments(geometry(lobe.ribs), new T.LineBasicMaterial({ color: lobe.rib, transparent: true, opacity: 0.55 })));
          if (lobe.beyond) group.add(shell(lobe.beyond, data.through, 0.32));
          group.position.z = here.lift[k]; group.renderOrder = 5; built.add(group); lobes[k] = group;
        }
        const print = here.footprints[k];
        if (print) { const lines = new T.LineSegments(geometry(print), new T.LineBasicMaterial({ color: 0xb03a1c })); built.add(lines); prints[k] = lines; }
      });
      const g = new T.BufferGeometry(); g.setAttribute("position", new T.BufferAttribute(new Float32Array(segments), 3));
      drops = new T.LineSegments(g, new T.LineBasicMaterial({ color: 0xb03a1c })); built.add(drops);
      maps().forEach((map, m) => map.gaps.filter((x) => x.letter).forEach((gap) => { label("letter", gap.letter, middle(map, gap.cell), 2, 0).gap = true; }));
      label("here", "", [0, 0, 0], 9, 0);
    }
    function addPart(part, clip, level) {
      const faces = part.faces && geometry(part.faces), shade = { clippingPlanes: clip, polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1 };
      const meshes = [];
      if (!faces) { /* outlines only */ }
      else if (part.opacity) meshes.push(new T.Mesh(faces, new T.MeshBasicMaterial({ ...shade, color: part.face, transparent: true, opacity: part.opacity, side: T.DoubleSide, depthWrite: false })));
      else {
        const Kind = part.flat ? T.MeshBasicMaterial : T.MeshLambertMaterial;
        meshes.push(new T.Mesh(faces, new Kind({ ...shade, color: part.face, ...(part.flat ? {} : { flatShading: true }) })));
        if (part.inside) meshes.push(new T.Mesh(faces, new T.MeshBasicMaterial({ ...shade, color: part.inside, side: T.BackSide })));
      }
      let lines = null;
      if (part.lines) { lines = new T.LineSegments(geometry(part.lines), new T.LineBasicMaterial({ color: part.edge, clippingPlanes: clip })); built.add(lines); }
      meshes.forEach((m) => built.add(m));
      parts.push({ part, meshes, lines, level, tops: part.tops ? array(part.tops) : null });
    }
    const middle = (map, cell) => { const c = unpackMap(map).cells.corners, o = 12 * cell; return [(c[o] + c[o + 6]) / 2, (c[o + 1] + c[o + 7]) / 2, c[o + 2]]; };
    function label(kind, text, at, weight, down) {
      const element = make("div", undefined, kind);
      if (kind.startsWith("unit")) element.append(make("i"), make("b", text));
      else if (kind === "letter" || kind === "here") element.append(make("i", text));
      else element.textContent = text;
      $("labels").append(element);
      const made = { kind: kind.split(" ")[0], element, at: new T.Vector3(...at), weight, down, text };
      labels.push(made); return made;
    }
    function recolour() {
      for (const { mesh, map } of mapMeshes) {
        const tint = mesh.geometry.attributes.tint, kind = mesh.geometry.attributes.kind, m = map.now.margin;
        for (let k = 0; k < m.length; k++) {
          const [r, g, b] = colourOf(m[k]), c = classOf(m[k]), hatch = c === 0 ? 1 : c === 1 ? 2 : 0;
          for (let j = 4 * k; j < 4 * k + 4; j++) { tint.array[3 * j] = r; tint.array[3 * j + 1] = g; tint.array[3 * j + 2] = b; kind.array[j] = hatch; }
        }
        tint.needsUpdate = kind.needsUpdate = true;
      }
    }
    function refresh() {
      for (const { clip, floor, tall } of clips) clip.constant = floor + (state.cut >= +$("cut").max - 0.03 ? tall + 1e3 : state.cut);
      for (const { part, meshes, lines, level, tops } of parts) {
        const shown = !(part.group in state.show) || state.show[part.group];
        meshes.forEach((m) => (m.visible = shown)); if (lines) lines.visible = shown && state.show.edges;
        if (tops) {
          const limit = clipHeight(level); let n = 0; while (n < tops.length && tops[n] <= limit + 1e-3) n++;
          meshes[0].geometry.setDrawRange(0, 30 * n); if (lines) lines.geometry.setDrawRange(0, 24 * n);
        }
      }
      mapMeshes.forEach(({ mesh }) => (mesh.material.uniforms.apart.value = state.show.hatching ? radius / 55 : 0));
      lobes.forEach((lobe, k) => { lobe.visible = state.lobes[k] && state.on[k]; });
      prints.forEach((print, k) => { if (print) print.visible = state.show.footprints && state.on[k]; });
      if (drops) drops.visible = state.show.marks;
      const at = labels.find((l) => l.kind === "here");
      if (at && state.chosen) at.at.set(...middle(maps()[state.chosen.map], state.chosen.cell));
      draw();
    }
    const clipHeight = (level) => level.floor + (state.cut >= +$("cut").max - 0.03 ? 1e3 : state.cut);
    function draw() { if (!asked) asked = requestAnimationFrame(paint); }
    function paint() {
      asked = 0;
      const w = box.clientWidth, h = box.clientHeight;
      if (!w || !h) return;
      renderer.setSize(w, h, false);
      camera.left = -w / 2; camera.right = w / 2; camera.top = h / 2; camera.bottom = -h / 2; camera.updateProjectionMatrix();
      renderer.render(scene, camera); place(w, h); furniture(w);
    }
    function place(w, h) {
      const taken = [], v = new T.Vector3();
      for (const l of [...labels].sort((a, b) => b.weight - a.weight)) {
        v.copy(l.at).project(camera);
        const x = ((v.x + 1) * w) / 2, y = ((1 - v.y) * h) / 2 + l.down, s = l.element.style;
        let shown = x > -20 && y > -20 && x < w + 20 && y < h + 20;
        if (l.kind === "unit") shown = shown && state.show.marks; else if (l.kind === "here") shown = shown && !!state.chosen; else shown = shown && state.show.names;
        if (l.kind === "letter" && !everyone()) shown = false;
        if (shown && l.kind !== "here") {
          const wide = l.kind === "letter" ? 18 : 8.4 * l.text.length, b = l.kind === "unit" ? [x + 8, y - 19, x + 9 + wide, y - 5] : [x - wide / 2, y - 9, x + wide / 2, y + 9];
          const clash = taken.some((t) => t[0] < b[2] && b[0] < t[2] && t[1] < b[3] && b[1] < t[3]);
          if (l.kind === "unit") { l.element.lastChild.style.visibility = clash || !state.show.names ? "hidden" : ""; l.element.classList.toggle("off", !state.on[l.unit]); taken.push([x - 8, y - 8, x + 8, y + 8]); if (!clash) taken.push(b); }
          else if (clash) shown = false; else taken.push(b);
        }
        s.display = shown ? "" : "none";
        const centred = l.kind === "room" ? " translate(-50%, -50%)" : l.kind === "storey" ? " translate(calc(-100% - 8px), -50%)" : "";
        s.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px)${centred}`;
      }
    }
    function furniture(w) {
      const a = (data.north * Math.PI) / 180, to = new T.Vector3(Math.cos(a), Math.sin(a), 0).transformDirection(camera.matrixWorldInverse), angle = Math.atan2(to.x, to.y), long = Math.max(Math.hypot(to.x, to.y), 0.25);
      $("needle").setAttribute("transform", `rotate(${(angle * 180) / Math.PI}) scale(${0.75 + 0.25 * long} ${long})`);
      const r = 20 * long + 8; $("northern").setAttribute("x", (Math.sin(angle) * Math.min(r, 24)).toFixed(1)); $("northern").setAttribute("y", (-Math.cos(angle) * Math.min(r, 24)).toFixed(1));
      const most = 0.22 * w, px = camera.zoom; let m = 0.1; for (const s of [0.2, 0.5, 1, 2, 5, 10, 20, 50, 100]) if (s * px <= most) m = s;
      $("bar").querySelector("i").style.width = m * px + "px"; $("bar").querySelector("span").textContent = `${m} m, across the view`;
    }
    function look(azimuth, elevation) {
      const flat = azimuth === null, a = ((flat ? northUp() : azimuth) * Math.PI) / 180, e = ((flat ? 89.9 : elevation) * Math.PI) / 180;
      const toward = new T.Vector3(Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e));
      controls.target.copy(centre); camera.position.copy(centre).addScaledVector(toward, 1000);
      camera.lookAt(centre); camera.updateMatrixWorld();
      // Everything in the frame: the maps' corners and the detectors, seen from there.
      const low = new T.Vector2(Infinity, Infinity), high = new T.Vector2(-Infinity, -Infinity), v = new T.Vector3();
      const see = (x, y, z) => { v.set(x, y, z).applyMatrix4(camera.matrixWorldInverse); low.min(v); high.max(v); };
      mapMeshes.forEach(({ mesh }) => { const b = mesh.geometry.boundingBox; for (const x of [b.min.x, b.max.x]) for (const y of [b.min.y, b.max.y]) see(x, y, b.min.z), see(x, y, b.max.z); });
      plane().tops.forEach((p) => see(...p));
      const w = box.clientWidth, h = box.clientHeight, right = new T.Vector3().setFromMatrixColumn(camera.matrixWorld, 0), up = new T.Vector3().setFromMatrixColumn(camera.matrixWorld, 1);
      const shift = new T.Vector3().addScaledVector(right, (low.x + high.x) / 2).addScaledVector(up, (low.y + high.y) / 2);
      camera.position.add(shift); controls.target.add(shift);
      camera.zoom = Math.min((w - 70) / Math.max(high.x - low.x, 0.1), (h - 70) / Math.max(high.y - low.y, 0.1));
      controls.minZoom = camera.zoom / 4; controls.maxZoom = camera.zoom * 40;
      controls.update(); lights(toward, right); refresh();
    }
    const northUp = () => data.north + 180;
    function lights(toward, right) {
      const flat = new T.Vector3(toward.x, toward.y, 0).normalize();
      key.position.copy(flat).multiplyScalar(0.3).addScaledVector(right, 0.42).add(new T.Vector3(0, 0, 0.85));
      fill.position.copy(flat).multiplyScalar(0.75).addScaledVector(right, -0.62).add(new T.Vector3(0, 0, 0.25));
    }
    function home() { look(plane().azimuth, plane().elevation); }
    function zoom(by) { camera.zoom = Math.min(Math.max(camera.zoom * by, controls.minZoom), controls.maxZoom); controls.update(); draw(); }
    function turn(deg) {
      const about = camera.position.clone().sub(controls.target).applyAxisAngle(new T.Vector3(0, 0, 1), (deg * Math.PI) / 180);
      camera.position.copy(controls.target).add(about); controls.update(); draw();
    }
    function goTo({ map, cell }) {
      const to = new T.Vector3(...middle(maps()[map], cell)), by = to.clone().sub(controls.target);
      camera.position.add(by); controls.target.copy(to); camera.zoom = Math.max(camera.zoom, Math.min(box.clientWidth, box.clientHeight) / Math.max(radius * 0.7, 4)); controls.update(); refresh();
    }
    function pick(clientX, clientY) {
      const r = canvas.getBoundingClientRect(), at = new T.Vector2(((clientX - r.left) / r.width) * 2 - 1, 1 - ((clientY - r.top) / r.height) * 2), ray = new T.Raycaster();
      ray.setFromCamera(at, camera);
      const hit = ray.intersectObjects(mapMeshes.map((m) => m.mesh), false)[0];
      return hit ? { map: mapMeshes.findIndex((m) => m.mesh === hit.object), cell: Math.floor(hit.faceIndex / 2) } : null;
    }
    let pressed = null;
    canvas.addEventListener("pointerdown", (e) => { pressed = e.isPrimary && e.button === 0 ? [e.clientX, e.clientY] : null; });
    canvas.addEventListener("pointerup", (e) => {
      if (!pressed || Math.hypot(e.clientX - pressed[0], e.clientY - pressed[1]) > 5) return;
      const found = pick(e.clientX, e.clientY);
      if (found) choose(found.map, found.cell); else { state.chosen = null; fillProbe(); draw(); }
    });
    canvas.addEventListener("webglcontextlost", (e) => e.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => refresh());
    controls.addEventListener("change", draw);
    new ResizeObserver(draw).observe(box);
    // Where a cell lies on the screen, for keyboards and tests.
    const onScreen = (map, cell) => { const r = canvas.getBoundingClientRect(), v = new T.Vector3(...middle(maps()[map], cell)).project(camera); return [r.left + ((v.x + 1) * r.width) / 2, r.top + ((1 - v.y) * r.height) / 2]; };
    return { build, recolour, refresh, look, home, zoom, turn, goTo, pick, onScreen, camera };
  }
})();
