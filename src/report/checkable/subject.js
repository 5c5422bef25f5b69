// What a series is of and who measured it, as the heads of the sheets and the overview have it, and the headline of several.

const PURPOSES = {
  first_off: "first off: the first pieces of a tool that was set up", in_process: "in process: pieces during a run", last_off: "last off: the last pieces before a tool is put away",
  qualification: "qualification: is the tool fit", reference: "reference: pieces out of a known-good harness", gauge_study: "gauge study: the same pieces again and again", verification: "verification: the instrument against gauge blocks",
};
const ORDERS = { by_axis: "all pieces on one axis, then on the next", by_piece: "every axis of a piece, then the next piece", by_value: "in any order; the axis follows from the value" };
const OF_JOB = [["job", "id"], ["customer", "customer"], ["their reference", "reference"], ["item", "item"], ["serial number", "serial"]];

// The digits of the size as the line has them: in numbers, JavaScript forgets zeros at the end.
const areaIn = (line) => /"wire_mm2":([\d.]+)/.exec(line)?.[1];

const subjectOf = ({ spec, area }) => (spec.terminal === undefined ? `${safe(spec.instruments.map(({ name }) => name).join(" and "))} against gauge blocks` : `${safe(spec.terminal)} on ${area} mm²`);

// Behind it stands how gauge and size belong together, from tables that the lines do not have.
const wireOf = ({ spec, area }) => `Wire: ${spec.wire_gauge === undefined ? "" : `${safe(spec.wire_gauge)} ga = `}${area} mm²`;

const each = (names) => [...new Set(names.filter((name) => name !== undefined && name !== null))];

// One row of a list of facts: its word, then what it says.
const pairOf = (word, says) => `${capital(word)}: ${safe(says)}\n`;

function expectSubject(series, put, offsets, isAlone) {
  const { spec, id, completed } = series;
  const about = `series ${id}`;
  const head = isAlone ? "the head" : about;
  const list = (word, says, more) => { if (says !== undefined) put(`${head}, ${word}`, pairOf(word, says), more); };
  put(isAlone ? "the heading" : `${about}, the heading`, subjectOf(series));
  const row = `the overview, series ${id}`;
  put(`${row}, series`, String(id), { rare: true });
  put(`${row}, of what`, subjectOf(series), { rare: true });
  put(`${row}, tool`, safe(spec.tool ? [spec.tool.id, spec.tool.nest && `nest ${spec.tool.nest}`].filter(Boolean).join(", ") : spec.purpose === "reference" ? "factory pieces" : "–"), { rare: true });
  if (spec.terminal !== undefined) list("terminal", [spec.terminal, spec.terminal_name].filter(Boolean).join(", "));
  if (spec.terminal !== undefined) put(`${head}, wire`, (got) => (got.startsWith(wireOf(series)) && /^( \([^()]*\))?\n$/.test(got.slice(wireOf(series).length)) ? got : wireOf(series)));
  if (spec.tool) list("tool", [spec.tool.id, `${spec.tool.class} class`, spec.tool.nest && `nest ${spec.tool.nest}`].filter(Boolean).join(", "));
  list("purpose", PURPOSES[spec.purpose]);
  if (spec.blocks === undefined) list("pieces", `${spec.pieces}; ${ORDERS[spec.order]}`);
  else list("repeats", String(spec.pieces));
  list("plan", spec.plan);
  for (const [word, key] of OF_JOB) list(word, spec.job?.[key]);
  list("measured by", each(series.operators.map(([, name]) => name)).join(", then ") || undefined);
  list("station", spec.station);
  list("opened", local(series.at, offsets));
  list("closed", completed ? local(completed.at, offsets) : "not yet");
  const rule = spec.decision.rule === "guarded" ? `guarded: within ${spec.decision.guard_factor.toFixed(3)} standard uncertainties of a limit, on either side of it, a value is neither passed nor failed but unsure` : "simple: inside or on a limit passes, whatever the instrument's uncertainty";
  put(`${about}, what was required, decision rule`, pairOf("decision rule", rule));
}

// `4 accepted, 1 undecided with reservations`, and what several are of.
function expectHeadline(all, put) {
  const said = ["accepted", "rejected", "undecided", "cut_short", "measured", "open"].flatMap((outcome) => {
    const of = all.filter((series) => (series.completed?.outcome ?? "open") === outcome);
    const reserved = of.filter((series) => series.completed?.reservations?.length > 0).length;
    const beside = reserved === 0 ? "" : reserved === of.length ? " with reservations" : ` (${reserved} of them with reservations)`;
    return of.length > 0 ? [`${of.length} ${OUTCOMES[outcome][0].toLowerCase()}${beside}`] : [];
  });
  put("the outcomes", said.join(", "));
  const [first] = all;
  const job = all.every(({ spec }) => JSON.stringify(spec.job) === JSON.stringify(first.spec.job)) ? first.spec.job : undefined;
  put("the heading", job ? safe(`Job ${job.id}${job.item === undefined ? "" : `, ${job.item}`}`) : `Report of ${all.length} series`);
  for (const [word, key] of OF_JOB) if (job?.[key] !== undefined) put(`the head, ${word}`, pairOf(word, job[key]));
}
