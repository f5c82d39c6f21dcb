// Files on their way into the library: chosen, dropped or named; sent one after the other.

import { shortClockText } from "../common/clock.js";
import { Refusal, ask, sentence } from "../common/server.js";

const LONGEST_TITLE = 200; // as the field for it takes
let lastNumber = 0;

/** A video that is to become a match. `state`: waiting, sending, here, adding, added, known, refused. */
export function newItem(source, name, sizeBytes, details) {
  lastNumber += 1;
  return {
    id: lastNumber, name, sizeBytes, details, file: source.file ?? null, path: source.path ?? "", key: "",
    about: "", state: source.path ? "here" : "waiting", sent: 0, trouble: "", matchId: null, wanted: false,
  };
}

/** Day and length of a file, as far as this browser can open it; what it cannot is checked when it has come. */
export function lookInto(item) {
  const day = new Date(item.file.lastModified).toISOString().slice(0, 10);
  item.about = `, ${day}`;
  const video = document.createElement("video");
  video.preload = "metadata";
  video.src = URL.createObjectURL(item.file);
  video.onloadedmetadata = () => {
    if (Number.isFinite(video.duration)) item.about = `, ${shortClockText(video.duration)}, ${day}`;
    URL.revokeObjectURL(video.src);
  };
  video.onerror = () => URL.revokeObjectURL(video.src);
}

/** Names, gis, belts and title out of nothing but the file's name. */
export function emptyDetails(name) {
  const nobody = () => ({ name: "", gi_colour: "", belt: "", team: "" });
  return { title: titleOf(name), athlete_a: nobody(), athlete_b: nobody(), note: "" };
}

function titleOf(name) {
  return name.replace(/\.[^.]*$/, "").replaceAll("_", " ").trim().slice(0, LONGEST_TITLE).trim();
}

const CAMERA_NAME = /^(img|vid|mvi|mov|dsc[a-z]?|pxl|gopr|g[hx]|dji|video|clip)?[-_ ]*[0-9][-_ 0-9]*$/i;

/** The athletes' names say more than the number that a camera gave. */
function betterTitle(item) {
  const { title, athlete_a, athlete_b } = item.details;
  const names = [athlete_a.name.trim(), athlete_b.name.trim()];
  return names.every(Boolean) && CAMERA_NAME.test(title) ? names.join(" and ") : title;
}

/** Send the bytes of one file; `told` hears how many are there. */
function put(key, file, told) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("PUT", `/api/footage/${key}`);
    request.upload.onprogress = (event) => told(event.loaded);
    request.onload = () => {
      const answer = parsed(request.responseText);
      if (request.status === 200) resolve(answer);
      else reject(new Refusal(sentence(answer?.error ?? `The server answered ${request.status}.`)));
    };
    request.onerror = () => reject(new Refusal(`${file.name} could not be sent. Is PoseScore still running, and the file still there?`));
    request.send(file);
  });
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

export async function send(item) {
  item.state = "sending";
  try {
    const { key } = await ask("/api/footage", { name: item.name, size_bytes: item.sizeBytes });
    item.key = key;
    await put(key, item.file, (bytes) => { item.sent = bytes / Math.max(1, item.sizeBytes); });
    item.state = "here";
  } catch (error) {
    refuse(item, error);
  }
}

export async function add(item, shared, analyse) {
  item.state = "adding";
  try {
    const source = item.path ? { path: item.path } : { key: item.key };
    const details = { ...item.details, title: betterTitle(item) };
    const made = await ask("/api/matches", { ...shared, ...details, ...source, analyse });
    item.matchId = made.match_id;
    item.state = made.known ? "known" : "added";
    item.trouble = made.known ? `${item.name} is in the library already: ${made.title}.` : "";
  } catch (error) {
    refuse(item, error);
  }
}

function refuse(item, error) {
  item.state = "refused";
  item.trouble = error.message;
}

export function forget(item) {
  if (item.key && !["added", "known"].includes(item.state)) ask(`/api/footage/${item.key}`, undefined, "DELETE").catch(() => {});
}

/** All files of a drop, those in dropped folders too. */
export async function filesOf(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.length) return [...transfer.files];
  return (await Promise.all(entries.map(filesIn))).flat();
}

async function filesIn(entry) {
  if (entry.name.startsWith(".")) return [];
  if (entry.isFile) return [await new Promise((resolve, reject) => entry.file(resolve, reject))];
  const reader = entry.createReader();
  const found = [];
  for (;;) {
    const some = await new Promise((resolve, reject) => reader.readEntries(resolve, reject));
    if (!some.length) break;
    found.push(...some);
  }
  return (await Promise.all(found.map(filesIn))).flat();
}
