// Checks glTF and GLB files with the validator that Khronos publishes beside the
// glTF 2.0 specification (npm package gltf-validator).
//
// usage: node validate_glb.mjs [--strict] FILE..
// Prints one line a file and one a message. Exit status: 0 no errors (--strict: and no
// warnings), 1 some, 2 bad usage or a file that can't be read.
import { readFile } from "node:fs/promises";
import path from "node:path";
import process from "node:process";
import validator from "gltf-validator";

const SEVERITIES = ["error", "warning", "note", "hint"];

const args = process.argv.slice(2);
const strict = args.includes("--strict");
const files = args.filter((arg) => arg !== "--strict");
if (files.length === 0) {
  console.error("usage: node validate_glb.mjs [--strict] FILE..");
  process.exit(2);
}

let failed = false;
for (const file of files) {
  let bytes;
  try {
    bytes = await readFile(file);
  } catch (error) {
    console.error(`${file}: can't be read: ${error.message}`);
    process.exit(2);
  }
  const beside = (uri) => readFile(path.resolve(path.dirname(file), decodeURIComponent(uri)));
  let report;
  try {
    report = await validator.validateBytes(new Uint8Array(bytes), {
      uri: path.basename(file),
      maxIssues: 100,
      externalResourceFunction: async (uri) => new Uint8Array(await beside(uri)),
    });
  } catch (error) {
    console.error(`${file}: isn't glTF: ${error.message ?? error}`);
    process.exit(2);
  }
  const { numErrors, numWarnings, numInfos, numHints, messages } = report.issues;
  const { totalVertexCount, totalTriangleCount } = report.info ?? {};
  console.log(
    `${file}: ${numErrors} errors, ${numWarnings} warnings, ${numInfos} notes, ${numHints} hints; ` +
      `${totalVertexCount ?? "?"} vertices, ${totalTriangleCount ?? "?"} triangles`,
  );
  for (const { severity, code, message, pointer } of messages) {
    console.log(`  ${SEVERITIES[severity] ?? severity} ${code} ${pointer ?? ""}: ${message}`);
  }
  failed ||= numErrors > 0 || (strict && numWarnings > 0);
}
process.exit(failed ? 1 : 0);
