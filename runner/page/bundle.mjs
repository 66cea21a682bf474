// SPDX-License-Identifier: Apache-2.0
// Bundles the scripts of report.html (source/ into bundle.js) and of lesson.html (../lesson/source
// into ../lesson/bundle.js): `npm ci --ignore-scripts && npm run bundle`. The same sources and lock
// file give the same bytes.
import {readFileSync, writeFileSync} from "node:fs";
import {build} from "esbuild";

const here = import.meta.dirname ?? new URL(".", import.meta.url).pathname;

async function bundle(entry, target, origin) {
  const made = await build({
    entryPoints: [entry],
    absWorkingDir: here,
    // Also for the sources beside this folder.
    nodePaths: [`${here}/node_modules`],
    bundle: true,
    minify: true,
    write: false,
    metafile: true,
    format: "iife",
    target: "es2020",
    charset: "ascii",
    legalComments: "none",
  });

  // What is bundled carries its licence along.
  const packages = [...new Set(Object.keys(made.metafile.inputs)
    .map((path) => /^node_modules\/((?:@[^/]+\/)?[^/]+)\//.exec(path)?.[1])
    .filter(Boolean))].sort();
  const notices = new Map();
  for (const name of packages) {
    const folder = new URL(`node_modules/${name}/`, import.meta.url);
    const {version, license} = JSON.parse(readFileSync(new URL("package.json", folder), "utf8"));
    const text = readFileSync(new URL("LICENSE", folder), "utf8").trim();
    if (!notices.has(text)) notices.set(text, []);
    notices.get(text).push(`${name} ${version} (${license})`);
  }
  const banner = [...notices].map(([text, names]) => `${names.join(", ")}\n\n${text}`).join("\n\n----\n\n")
    .replace(/[^\x00-\x7f]/g, "?").replaceAll("*/", "* /");
  const text = `/*\nMade from ${origin}. Bundled with it, under their own licences:\n\n${banner}\n*/\n${made.outputFiles[0].text}`;
  writeFileSync(new URL(target, import.meta.url), text);
}

await bundle("source/main.js", "bundle.js", "runner/page/source");
await bundle("../lesson/source/main.js", "../lesson/bundle.js", "runner/lesson/source and runner/page/source");
