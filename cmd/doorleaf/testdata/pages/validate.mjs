// Reads {"pages":[{"name","html"}]} from standard input and writes what
// html-validate says of them, [{"page","rule","line","column","says"}], to
// standard output. The rules are html-validate's for documents, for access and the
// recommended, without those that ask for one of several forms that are all valid.
import { HtmlValidate, StaticConfigLoader } from "html-validate";

const loader = new StaticConfigLoader({
  root: true,
  extends: ["html-validate:recommended", "html-validate:document", "html-validate:a11y"],
  rules: {
    "doctype-style": ["error", { style: "lowercase" }], // the standard takes both
    "no-trailing-whitespace": "off", // templates leave blanks where a branch is not taken
    "long-title": "off", // a title names the box, and its name is the network's own
    "no-implicit-input-type": "off", // text is the type of an input without one
    "require-sri": ["error", { target: "crossorigin" }], // what the server itself sends is as good as its page
    "aria-label-misuse": ["error", { allowAnyNamable: true }], // lists may have a name
    "form-dup-name": "off", // a name that stands several times carries a list
  },
});
const validator = new HtmlValidate(loader);

let text = "";
for await (const part of process.stdin.setEncoding("utf8")) text += part;
const found = [];
for (const { name, html } of JSON.parse(text).pages) {
  const report = await validator.validateString(html, name);
  for (const result of report.results) {
    for (const m of result.messages) {
      found.push({ page: name, rule: m.ruleId, line: m.line, column: m.column, says: m.message });
    }
  }
}
process.stdout.write(JSON.stringify(found));
