"use strict";
(() => {
  const token = document.querySelector("meta[name=token]").content;
  const headers = { "X-Token": token };

  // CRC-32 as in ISO 3309: the browser's own digests are not there without encryption.
  const table = new Uint32Array(256).map((_, n) => {
    let c = n;
    for (let k = 0; k < 8; k++) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
    return c >>> 0;
  });
  const crc32 = (bytes) => {
    let c = 0xffffffff;
    for (let i = 0; i < bytes.length; i++) c = table[(c ^ bytes[i]) & 255] ^ (c >>> 8);
    return ((c ^ 0xffffffff) >>> 0).toString(16).padStart(8, "0");
  };
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));

  class Refused extends Error {}
  const answer = async (response) => {
    const body = await response.json().catch(() => ({}));
    if (response.ok) return body;
    if (response.status === 408 || response.status === 409 || response.status === 422) return null;
    throw new Refused(body.says || `The desk refused this (${response.status}).`);
  };

  // Sends a clip from where it stands; a lost connection only makes it wait.
  const sendClip = async (file, address, have, part, onSent, signal) => {
    let pause = 500;
    while (have < file.size) {
      try {
        const bytes = new Uint8Array(await file.slice(have, have + part).arrayBuffer());
        const told = await answer(
          await fetch(address, {
            method: "PUT",
            body: bytes,
            signal,
            headers: {
              ...headers,
              "Content-Type": "application/octet-stream",
              "Content-Range": `bytes ${have}-${have + bytes.length - 1}/${file.size}`,
              "X-CRC32": crc32(bytes),
            },
          }),
        );
        have = told ? told.have : (await answer(await fetch(address, { signal }))).have;
        if (told) pause = 500;
        else await wait(pause);
        onSent(have);
      } catch (error) {
        if (error instanceof Refused || signal.aborted || error.name === "NotReadableError") throw error;
        says(`The connection is lost; trying again.`);
        await wait(pause);
        pause = Math.min(2 * pause, 15000);
        try {
          have = (await answer(await fetch(address, { signal }))).have;
        } catch (again) {
          if (again instanceof Refused || signal.aborted) throw again;
        }
      }
    }
  };

  const form = document.getElementById("send");
  const says = (text) => {
    document.getElementById("says").textContent = text;
  };
  if (form) {
    let files = [];
    let folder = ""; // that the clips came in; then each has its path inside it
    let roster = null; // the file in it that says who did what
    const paths = new Map();
    const list = document.getElementById("chosen");
    const together = document.getElementById("together");
    const go = document.getElementById("go");
    const isClip = (file) => /^video\//.test(file.type) || /\.(mp4|mov|m4v|3gp|mkv|webm|ts|mts|parquet)$/i.test(file.name);
    const place = (file) => (paths.get(file) || file.webkitRelativePath || file.name).replace(/^\/+/, "");
    const base64 = async (file) => {
      const bytes = new Uint8Array(await file.arrayBuffer());
      return btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
    };
    const choose = (chosen, all) => {
      files = [...chosen].filter((file) => !all || isClip(file));
      folder = "";
      roster = null;
      if (all) {
        roster = [...chosen].find((file) => /^[^/]*\/?roster\.(csv|toml|xlsx)$/i.test(place(file))) || null;
        for (const file of files) {
          const [top, ...inside] = place(file).split("/").filter(Boolean);
          folder = folder || (inside.length ? top : "folder");
          paths.set(file, inside.length ? inside.join("/") : top);
        }
      }
      list.replaceChildren(
        ...files.map((file) => {
          const item = document.createElement("li");
          item.textContent = `${folder ? paths.get(file) : file.name}, ${(file.size / 1e6).toFixed(1)} MB`;
          return item;
        }),
      );
      together.hidden = folder !== "" || files.length !== 2;
      go.disabled = files.length === 0;
      go.textContent = folder ? "Judge the folder" : files.length > 2 ? `Judge ${files.length} sets` : "Judge";
      says(
        files.length === 0
          ? "There is no clip in it."
          : folder
            ? roster
              ? `${roster.name} says who did what; otherwise a folder inside is a person.`
              : "Side and front of one set are found by their names or the time of recording; a folder inside is a person; a roster.csv in it counts."
            : files.length > 2
              ? "Each clip is a set of its own."
              : "",
      );
    };
    const picked = (event) => choose(event.target.files, event.target.id === "whole");
    document.getElementById("clips").addEventListener("change", picked);
    document.getElementById("whole").addEventListener("change", picked);

    const inside = async (entry) => {
      if (entry.isFile) {
        const file = await new Promise((done, failed) => entry.file(done, failed));
        paths.set(file, entry.fullPath);
        return [file];
      }
      const reader = entry.createReader();
      const found = [];
      for (;;) {
        const some = await new Promise((done, failed) => reader.readEntries(done, failed));
        if (!some.length) break;
        for (const one of some) found.push(...(await inside(one)));
      }
      return found;
    };
    const drop = document.getElementById("drop");
    const over = (on) => (event) => {
      event.preventDefault();
      drop.classList.toggle("over", on);
    };
    drop.addEventListener("dragover", over(true));
    drop.addEventListener("dragleave", over(false));
    drop.addEventListener("drop", async (event) => {
      over(false)(event);
      const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry());
      const plain = [...event.dataTransfer.files];
      if (entries.some((entry) => entry && entry.isDirectory)) {
        choose((await Promise.all(entries.filter(Boolean).map(inside))).flat(), true);
      } else choose(plain, false);
    });

    const person = document.getElementById("person");
    person.addEventListener("change", async () => {
      const asked = await answer(await fetch(`/remembered?person=${encodeURIComponent(person.value.trim())}`));
      if (!asked || asked.person === "") return;
      for (const [name, value] of Object.entries(asked)) {
        const field = form.elements.namedItem(name);
        if (field && !["person", "reps_left", "pain", "note"].includes(name)) field.value = value;
      }
    });

    const stopping = { signal: null };
    document.getElementById("stop").addEventListener("click", () => stopping.signal && stopping.signal.abort());
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const asked = Object.fromEntries(new FormData(form));
      const both = files.length === 2 && asked.together === "yes";
      delete asked.together;
      const sets = both ? [files] : files.map((file) => [file]);
      const size = files.reduce((sum, file) => sum + file.size, 0) || 1;
      const sent = document.getElementById("sent");
      document.getElementById("sending").hidden = false;
      go.disabled = true;
      stopping.signal = new AbortController();
      let done = 0;
      const ids = [];
      const told = (name) => (file) => ({ name: name(file), size: file.size, changed: Math.round(file.lastModified || 0) });
      const announce = async (where, said) =>
        answer(
          await fetch(where, {
            method: "POST",
            body: JSON.stringify(said),
            headers: { ...headers, "Content-Type": "application/json" },
          }),
        );
      try {
        let group = null;
        if (folder) {
          group = await announce("/groups", { name: folder, asked, clips: files.map(told((file) => paths.get(file))), roster: roster && { name: roster.name, base64: await base64(roster) } });
          sets.splice(0, sets.length, ...group.sets.map((set) => set.files.map((n) => files[n])));
        }
        for (const [which, clips] of sets.entries()) {
          const set = group
            ? { ...group.sets[which], part: group.part }
            : await announce("/sets", { asked, clips: clips.map(told((file) => file.name)) });
          ids.push(set.id);
          for (const [n, file] of clips.entries()) {
            const onSent = (have) => {
              sent.value = (100 * (done + have)) / size;
              says(`Sending ${file.name}: ${Math.floor((100 * have) / file.size)} %`);
            };
            onSent(set.have[n]);
            await sendClip(file, `/sets/${set.id}/clips/${n + 1}`, set.have[n], set.part, onSent, stopping.signal.signal);
            done += file.size;
          }
        }
        location.assign(group ? `/groups/${group.id}` : ids.length === 1 ? `/sets/${ids[0]}` : "/sets");
      } catch (error) {
        says(
          error instanceof Refused
            ? error.message[0].toUpperCase() + error.message.slice(1)
            : stopping.signal.signal.aborted
              ? "Stopped. Choose the same clip again to send the rest."
              : `The clip could not be read here (${error.message}).`,
        );
        document.getElementById("sending").hidden = true;
        go.disabled = false;
      }
    });
  }

  // The reps of a clip while its pose is searched for: the curve of the arms, a bar for each rep.
  const drawn = (name, has, inside = []) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(has)) made.setAttribute(key, value);
    made.append(...inside);
    return made;
  };
  const strip = (wide) => (early) => {
    const high = 80;
    const deepest = Math.min(0.7, ...early.curve.map(([, share]) => share));
    const x = (t) => ((wide * t) / Math.max(early.of, 0.1)).toFixed(1);
    const lines = [];
    let last = -9;
    for (const [t, share] of early.curve) {
      if (t - last > 1) lines.push([]);
      lines[lines.length - 1].push(`${x(t)},${(high - 8 - ((high - 32) * (share - deepest)) / (1 - deepest)).toFixed(1)}`);
      last = t;
    }
    const picture = drawn("svg", { viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": early.says, class: "early" }, [
      drawn("rect", { class: "found", x: 0, y: 0, width: x(early.until), height: high }),
      ...early.reps.flatMap(([begins, ends], n) => {
        const number = drawn("text", { x: x((begins + ends) / 2), y: 14 });
        number.textContent = n + 1;
        return [drawn("rect", { class: "one", x: x(begins), y: 18, width: Math.max(2, x(ends) - x(begins) - 2), height: high - 18 }), number];
      }),
      ...lines.map((line) => drawn("polyline", { points: line.join(" ") })),
    ]);
    const words = document.createElement("p");
    words.className = "small";
    words.textContent = (early.clip ? `${early.clip}: ` : "") + early.says;
    return [picture, words];
  };

  // What is under way
  const going = [...document.querySelectorAll("[data-set]")].filter((one) =>
    ["arriving", "waiting", "judging"].includes(one.dataset.state),
  );
  if (going.length) {
    const left = (seconds) =>
      seconds === null ? "" : seconds < 60 ? `about ${Math.max(1, seconds)} s left` : `about ${Math.ceil(seconds / 60)} min left`;
    const events = new EventSource("/progress");
    events.addEventListener("message", (event) => {
      const sets = JSON.parse(event.data);
      for (const one of going) {
        const now = sets[one.dataset.set];
        if (!now) {
          // Not while something is being sent or typed on this page.
          if (!form || (!files_chosen() && document.activeElement === document.body)) {
            events.close();
            location.reload();
            return;
          }
          continue;
        }
        one.querySelector("progress").value = now.percent;
        one.querySelector("[data-said]").textContent = now.what || now.state;
        const rest = one.querySelector("[data-left]");
        if (rest) rest.textContent = left(now.left);
        const strips = one.querySelector("[data-early]");
        if (strips && now.early.length) strips.replaceChildren(...now.early.flatMap(strip(strips.clientWidth || 600)));
        const head = one.hasAttribute("data-whole") && document.querySelector("[data-headline]");
        if (head) head.textContent = now.state[0].toUpperCase() + now.state.slice(1);
      }
    });
  }
  function files_chosen() {
    return document.querySelectorAll("#chosen li").length > 0;
  }

  // Who speaks is the same from rep to rep.
  const whos = [...document.querySelectorAll("[data-who]")];
  if (whos.length) {
    let known = "";
    try {
      known = localStorage.getItem("who") || "";
    } catch {}
    for (const who of whos) {
      who.value = known;
      who.addEventListener("change", () => {
        for (const other of whos) other.value = who.value;
        try {
          localStorage.setItem("who", who.value);
        } catch {}
      });
    }
  }

  // A report is as high as it is.
  for (const frame of document.querySelectorAll("iframe[data-report]")) {
    const fit = () => {
      const page = frame.contentDocument;
      if (!page || !page.body) return;
      const resize = () => {
        frame.style.height = `${page.documentElement.scrollHeight + 8}px`;
      };
      resize();
      new ResizeObserver(resize).observe(page.body);
    };
    frame.addEventListener("load", fit);
    if (frame.contentDocument && frame.contentDocument.readyState === "complete") fit();
  }
  document.documentElement.dataset.ready = "yes";
})();
