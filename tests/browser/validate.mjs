// What lies beside a report, held against other people's validators:
// report.json against the program's own schema (Ajv, JSON Schema 2020-12), and
// scene.glb against glTF 2.0 (the Khronos Group's validator).
import { existsSync, readFileSync } from "node:fs";
import { dirname, join, resolve } from "node:path";
import Ajv2020 from "ajv/dist/2020.js";
import validator from "gltf-validator";

const problems = [];
const told = [];
const ajv = new Ajv2020({ allErrors: true, strict: false, validateFormats: false });
const schemaFile = process.env.SCHEMA;
const fits = schemaFile ? ajv.compile(JSON.parse(readFileSync(schemaFile, "utf8"))) : null;
if (!fits) told.push("skipped: SCHEMA names no file, report.json was not held against a schema");

function reportFits(file) {
  if (!fits(JSON.parse(readFileSync(file, "utf8")))) {
    for (const e of fits.errors.slice(0, 10)) problems.push(`report.json${e.instancePath}: ${e.message}`);
  }
  // A validator that passes everything would pass this too.
  if (fits({ schema: 1 })) problems.push("the schema lets a report without holes pass");
}

async function sceneIsSound(file) {
  const { issues, info } = await validator.validateBytes(new Uint8Array(readFileSync(file)));
  for (const m of issues.messages.filter((m) => m.severity < 2)) {
    problems.push(`scene.glb ${m.pointer ?? ""}: ${m.code} ${m.message}`);
  }
  told.push(`scene.glb: ${issues.numErrors} errors, ${issues.numWarnings} warnings, ${issues.numInfos} notes, ${info.totalTriangleCount} triangles`);
}

for (const page of process.argv.slice(2)) {
  const beside = (name) => join(dirname(resolve(page)), name);
  if (fits && existsSync(beside("report.json"))) reportFits(beside("report.json"));
  if (existsSync(beside("scene.glb"))) await sceneIsSound(beside("scene.glb"));
}
if (told.length) console.log(told.join("\n"));
if (problems.length) {
  console.error(problems.map((p) => `failed: ${p}`).join("\n"));
  process.exit(1);
}
