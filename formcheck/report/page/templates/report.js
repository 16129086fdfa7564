"use strict";
(() => {
  const data = JSON.parse(document.getElementById("moving").textContent);
  const clip = document.getElementById("clip");
  const strip = document.getElementById("strip");
  const said = document.getElementById("said");
  const heads = [...document.querySelectorAll("[data-head]")];
  const marks = [...document.querySelectorAll(".mark")];
  const rows = [...document.querySelectorAll("#reps tbody tr")];
  let current = -1;

  const placeOf = (t) => data.reps.findIndex((rep) => rep.b[0] <= t && t < rep.b[4]);
  const describe = (t) => {
    const place = placeOf(t);
    if (place < 0) return `${t.toFixed(1)} s`;
    const rep = data.reps[place];
    const phase = [3, 2, 1, 0].find((i) => rep.b[i] <= t);
    return `${t.toFixed(1)} s, rep ${rep.i}, ${rep.p[phase].toLowerCase()}`;
  };

  // Cursor and read-out on the curves
  const cursors = [...document.querySelectorAll(".chart")].map((box) => {
    const place = data.charts[box.dataset.chart];
    const svg = box.querySelector("svg");
    const make = (name, attributes) => {
      const element = document.createElementNS("http://www.w3.org/2000/svg", name);
      for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
      svg.append(element);
      return element;
    };
    const height = svg.viewBox.baseVal.height;
    const line = make("line", { class: "cursor", y1: 0, y2: height, x1: -9, x2: -9 });
    const dots = place.rows.map(() => make("circle", { class: "cursor-dot", r: 4.8, cx: -9, cy: -9 }));
    return { svg, place, line, dots };
  });
  const valueAt = (key, t) => {
    const list = data.series[key];
    if (!list) return null;
    const value = list[Math.round((t - data.t0) / data.step)];
    return value === undefined ? null : value;
  };
  const showMoment = (t) => {
    for (const { place, line, dots } of cursors) {
      const x = place.x0 + ((t - place.t0) / (place.t1 - place.t0)) * (place.x1 - place.x0);
      const inside = x >= place.x0 && x <= place.x1;
      line.setAttribute("x1", inside ? x : -9);
      line.setAttribute("x2", inside ? x : -9);
      place.rows.forEach(([key, low, high, yLow, yHigh], i) => {
        const value = inside ? valueAt(key, t) : null;
        dots[i].setAttribute("cx", value === null ? -9 : x);
        if (value !== null) dots[i].setAttribute("cy", yLow + ((value - low) / (high - low)) * (yHigh - yLow));
      });
    }
    const duration = Number(strip?.getAttribute("aria-valuemax") || 0);
    for (const head of heads) head.style.left = `${duration ? Math.min(100, (100 * t) / duration) : 0}%`;
    if (strip) {
      strip.setAttribute("aria-valuenow", t.toFixed(2));
      strip.setAttribute("aria-valuetext", describe(t));
    }
    if (said) {
      const parts = [describe(t)];
      const elbow = valueAt("elbow_deg", t);
      const line = valueAt("body_line_deg", t);
      if (elbow !== null) parts.push(`elbow ${elbow.toFixed(0)}°`);
      if (line !== null) parts.push(`body line ${line.toFixed(0).replace(/^-0$/, "0").replace("-", "−")}°`);
      said.textContent = parts.join(" · ");
    }
    const place = placeOf(t);
    if (place !== current) {
      current = place;
      const index = place < 0 ? null : String(data.reps[place].i);
      for (const element of [...marks, ...rows]) element.classList.toggle("now", element.dataset.rep === index);
    }
  };
  const seek = (t) => {
    if (clip) {
      clip.currentTime = t;
      const box = clip.getBoundingClientRect();
      if (box.bottom < 80 || box.top > innerHeight - 80) clip.scrollIntoView({ block: "start" });
    }
    showMoment(t);
  };

  document.addEventListener("click", (event) => {
    const target = event.target.closest("[data-seek]");
    if (target) seek(Number(target.dataset.seek));
  });
  if (clip) {
    clip.controls = false; // the strip and the buttons below it take their place
    const play = document.getElementById("play");
    const toggle = () => (clip.paused ? clip.play() : clip.pause());
    play.addEventListener("click", toggle);
    clip.addEventListener("click", toggle);
    for (const name of ["play", "pause", "ended"]) {
      clip.addEventListener(name, () => (play.textContent = clip.paused ? "Play" : "Pause"));
    }
    for (const button of document.querySelectorAll("[data-step]")) {
      button.addEventListener("click", () => {
        clip.pause();
        seek(Math.max(0, clip.currentTime + Number(button.dataset.step) * data.frame));
      });
    }
    document.getElementById("full").addEventListener("click", () => clip.requestFullscreen?.());
    const follow = () => {
      showMoment(clip.currentTime);
      if (!clip.paused) requestAnimationFrame(follow);
    };
    clip.addEventListener("play", follow);
    for (const name of ["seeked", "timeupdate", "loadedmetadata"]) {
      clip.addEventListener(name, () => clip.paused && showMoment(clip.currentTime));
    }
    for (const button of document.querySelectorAll("[data-rate]")) {
      button.addEventListener("click", () => {
        clip.playbackRate = Number(button.dataset.rate);
        for (const other of document.querySelectorAll("[data-rate]")) {
          other.setAttribute("aria-pressed", String(other === button));
        }
      });
    }
  }
  if (strip) {
    const duration = Number(strip.getAttribute("aria-valuemax"));
    const at = (event) => {
      const box = strip.getBoundingClientRect();
      return Math.max(0, Math.min(duration, ((event.clientX - box.left) / box.width) * duration));
    };
    strip.addEventListener("pointerdown", (event) => {
      strip.setPointerCapture(event.pointerId);
      seek(at(event));
    });
    strip.addEventListener("pointermove", (event) => {
      if (strip.hasPointerCapture(event.pointerId)) seek(at(event));
    });
    strip.addEventListener("keydown", (event) => {
      const now = Number(strip.getAttribute("aria-valuenow"));
      const place = placeOf(now);
      const starts = data.reps.map((rep) => rep.b[0]);
      const to = {
        ArrowRight: now + 0.1,
        ArrowLeft: now - 0.1,
        ArrowUp: now + 0.1,
        ArrowDown: now - 0.1,
        PageDown: starts.find((t) => t > now + 0.01) ?? now,
        PageUp: starts[place > 0 ? place - 1 : 0] ?? now,
        Home: 0,
        End: duration,
      }[event.key];
      if (to === undefined) return;
      event.preventDefault();
      seek(Math.max(0, Math.min(duration, to)));
    });
  }
  for (const { svg, place } of cursors) {
    svg.addEventListener("click", (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      const share = (point.x - place.x0) / (place.x1 - place.x0);
      if (share >= 0 && share <= 1) seek(Math.max(0, place.t0 + share * (place.t1 - place.t0)));
    });
  }

  // Two reps side by side: the same moment of both, and their curves over each other
  const pairBox = document.getElementById("compare");
  if (pairBox && data.compared) {
    const through = document.getElementById("through");
    const chosen = (place) => {
      const index = Number(pairBox.querySelector(`[data-pick="${place}"]`).value);
      return data.compared.reps.find((rep) => rep.i === index);
    };
    const drawPair = () => {
      const step = Number(through.value);
      for (const place of ["a", "b"]) {
        const rep = chosen(place);
        const video = pairBox.querySelector(`video[data-side="${place}"]`);
        if (video) video.currentTime = rep.t[step];
        for (const row of data.compared.rows) {
          const svg = pairBox.querySelector(`[data-row="${row.key}"]`);
          const { width, height } = svg.viewBox.baseVal;
          const last = rep.t.length - 1;
          let path = "";
          rep.v[row.key].forEach((value, i) => {
            if (value === null) return;
            const y = height - ((value - row.low) / (row.high - row.low || 1)) * height;
            path += `${path ? "L" : "M"}${((i / last) * width).toFixed(1)} ${y.toFixed(1)}`;
          });
          svg.querySelector(`.${place}`).setAttribute("d", path);
          const here = svg.querySelector(".here");
          here.setAttribute("x1", (step / last) * width);
          here.setAttribute("x2", (step / last) * width);
        }
      }
      for (const row of data.compared.rows) {
        const digits = row.unit === "°" ? 0 : 2;
        const say = (place) => {
          const value = chosen(place).v[row.key][step];
          if (value === null) return "–";
          const text = value.toFixed(digits).replace(/^-(?=0(\.0*)?$)/, "").replace("-", "−");
          return text + (row.unit === "°" ? "°" : "");
        };
        pairBox.querySelector(`[data-read="${row.key}"]`).textContent = `${say("a")} and ${say("b")}`;
      }
    };
    pairBox.addEventListener("input", drawPair);
    for (const video of pairBox.querySelectorAll("video")) video.addEventListener("loadedmetadata", drawPair);
    drawPair();
  }

  // Sorting
  const table = document.getElementById("reps");
  if (table) {
    const body = table.tBodies[0];
    for (const button of table.querySelectorAll("th button")) {
      button.addEventListener("click", () => {
        const head = button.closest("th");
        const column = [...head.parentElement.children].indexOf(head);
        const down = head.getAttribute("aria-sort") === "ascending";
        for (const other of head.parentElement.children) other.removeAttribute("aria-sort");
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        const key = (row) => row.children[column].dataset.sort;
        const sorted = [...body.rows].sort((one, other) => {
          const [a, b] = [key(one), key(other)];
          if (a === "" || b === "") return (a === "") - (b === "");
          return (down ? -1 : 1) * (Number(a) - Number(b));
        });
        body.append(...sorted);
      });
    }
  }
  showMoment(clip ? clip.currentTime : -1);
  document.documentElement.dataset.ready = "yes";
})();
