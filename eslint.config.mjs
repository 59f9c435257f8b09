// What the linter holds the pages' scripts to. They are plain scripts without a build step: what stands here is what
// the browser reads, so each file may use only what its browsers know.
import js from "@eslint/js";
import globals from "globals";

const rules = {
  ...js.configs.recommended.rules,
  "array-callback-return": "error",
  "consistent-return": "error",
  curly: ["error", "multi-line"],
  eqeqeq: "error",
  "no-alert": "off",
  "no-console": ["error", { allow: ["error"] }],
  "no-param-reassign": ["error", { props: false }],
  "no-shadow": "error",
  "no-eval": "error",
  "no-implied-eval": "error",
  "no-new-func": "error",
  "no-unsafe-finally": "error",
  "no-unused-vars": ["error", { args: "after-used", caughtErrors: "all", ignoreRestSiblings: true }],
  "no-use-before-define": ["error", { functions: false, classes: true, variables: false }],
  "no-var": "error",
  "object-shorthand": "error",
  "prefer-const": "error",
  "prefer-template": "off",
  // Nobody's text becomes HTML: no part of a page is made from a string.
  "no-restricted-properties": [
    "error",
    ...["innerHTML", "outerHTML", "insertAdjacentHTML"].map((property) => ({
      property,
      message: "Text of somebody's could become part of the page; use textContent and elements.",
    })),
    { object: "document", property: "write", message: "Use elements." },
    { object: "crypto", property: "randomUUID", message: "Absent over plain http; use Trod.newId." },
    { object: "Math", property: "random", message: "Not for ids; use Trod.newId." },
  ],
  strict: ["error", "global"],
};

export default [
  { ignores: [".venv/", "node_modules/", "trod-home/", "build/", "dist/", "wheels/"] },
  { linterOptions: { reportUnusedDisableDirectives: "error" } },
  {
    files: ["src/trod/**/*.js"],
    languageOptions: { sourceType: "script", ecmaVersion: 2022, globals: globals.browser },
    rules,
  },
  {
    // The field form must open on whatever phone somebody has: nothing newer than 2018 in it.
    files: ["src/trod/field/form/**/*.js", "src/trod/shared_scripts/**/*.js"],
    languageOptions: { ecmaVersion: 2018 },
    // In 2018 each catch names what it caught, wanted or not.
    rules: { "no-unused-vars": ["error", { caughtErrors: "none", ignoreRestSiblings: true }] },
  },
  {
    files: ["tests/scripts/**/*.js"],
    languageOptions: { sourceType: "commonjs", ecmaVersion: 2022, globals: globals.node },
    rules: { ...rules, "no-restricted-properties": "off" },
  },
];
