// Times in the kitchen's zone, lengths of time in words.

const clocks = new Map();

function format(zone, options) {
  const name = zone + JSON.stringify(options);
  if (!clocks.has(name)) clocks.set(name, new Intl.DateTimeFormat("en-GB", { timeZone: zone, hourCycle: "h23", ...options }));
  return clocks.get(name);
}

export const clock = (at, zone, seconds = false) =>
  format(zone, { hour: "2-digit", minute: "2-digit", ...(seconds ? { second: "2-digit" } : {}) }).format(new Date(at));

export const dayAndClock = (at, zone) =>
  format(zone, { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" }).format(new Date(at));

export function length(ms) {
  const seconds = Math.max(0, Math.floor(ms / 1000));
  if (seconds < 120) return `${seconds} s`;
  if (seconds < 3600) return `${Math.floor(seconds / 60)} min`;
  const hours = Math.floor(seconds / 3600);
  if (hours < 24) return `${hours} h ${Math.floor((seconds % 3600) / 60)} min`;
  return `${Math.floor(hours / 24)} d ${hours % 24} h`;
}

// The parts of an instant on the kitchen's clock, for a datetime-local field.
export function forField(at, zone) {
  const parts = Object.fromEntries(
    format(zone, { year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: "2-digit" })
      .formatToParts(new Date(at)).map((part) => [part.type, part.value]));
  return `${parts.year}-${parts.month}-${parts.day}T${parts.hour}:${parts.minute}:${parts.second}`;
}

// The instants (none, one, or two in the repeated hour) at which the kitchen's clock shows the field's text.
export function instantsOf(text, zone) {
  const full = text.length === 16 ? `${text}:00` : text;
  const naive = Date.parse(`${full}Z`);
  if (Number.isNaN(naive)) return [];
  const found = [];
  for (let quarter = -60; quarter <= 60; quarter += 1) {
    const at = naive + quarter * 900_000;
    if (forField(at, zone) === full) found.push(at);
  }
  return found;
}
