#!/usr/bin/env python3
"""Licences of everything that goes into the program.

    licences.py            says every licence and fails on one that is not in the list below
    licences.py --manifest FILE   the same of another workspace
    licences.py --target TRIPLE   the same for another system
    licences.py --notices  prints the notices: each package with its licence and the licence's text, then those of
                           typefaces and scripts that are compiled in

Reads `cargo metadata`; needs no network once the packages are there.
"""

import json
import os
import re
import subprocess
import sys

# Each may be passed on within a program of any licence; MPL-2.0 asks that changed files stay open, and none is changed.
ALLOWED = {
    "MIT", "MIT-0", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause", "ISC", "Zlib",
    "0BSD", "Unlicense", "CC0-1.0", "Unicode-3.0", "BSL-1.0", "MPL-2.0", "OFL-1.1",
}


def shipped():
    """Packages that are compiled into the program, without those of tests only."""
    if "--target" in sys.argv:
        here = sys.argv[sys.argv.index("--target") + 1]
    else:
        about = subprocess.check_output(["rustc", "-vV"], text=True)
        here = re.search(r"^host: (.*)$", about, re.M).group(1)
    ask = ["cargo", "metadata", "--format-version", "1", "--locked", "--filter-platform", here]
    if "--manifest" in sys.argv:
        ask += ["--manifest-path", sys.argv[sys.argv.index("--manifest") + 1]]
    data = json.loads(subprocess.check_output(ask))
    packages = {p["id"]: p for p in data["packages"]}
    nodes = {n["id"]: n for n in data["resolve"]["nodes"]}
    ours = set(data["workspace_members"])
    waiting = [p for p in ours if packages[p]["name"].startswith("tubewright")]
    seen = set()
    while waiting:
        here = waiting.pop()
        if here in seen:
            continue
        seen.add(here)
        for dep in nodes[here]["deps"]:
            if any(kind["kind"] != "dev" for kind in dep["dep_kinds"]):
                waiting.append(dep["pkg"])
    return sorted((packages[i] for i in seen if i not in ours), key=lambda p: (p["name"], p["version"]))


def allowed(expression):
    """Whether an SPDX expression can be met with the list: `OR` by one side, `AND` by both."""
    text = expression.replace("/", " OR ")
    tokens = re.findall(r"\(|\)|AND|OR|[^()\s]+(?:\s+WITH\s+[^()\s]+)?", text)

    def atom(i):
        if tokens[i] == "(":
            value, i = chain(i + 1, 0)
            return value, i + 1
        return tokens[i] in ALLOWED, i + 1

    def chain(i, level):
        """Terms joined by one word: the looser one (OR) is made of the tighter (AND), that of atoms."""
        word, meets = (("OR", any), ("AND", all))[level]
        inner = (lambda k: chain(k, 1)) if level == 0 else atom
        value, i = inner(i)
        values = [value]
        while i < len(tokens) and tokens[i] == word:
            value, i = inner(i + 1)
            values.append(value)
        return meets(values), i

    return chain(0, 0)[0]


def texts(package):
    """The licence texts that came with a package."""
    folder = os.path.dirname(package["manifest_path"])
    for name in sorted(os.listdir(folder)):
        if re.match(r"(?i)(licen[cs]e|copying|notice|unlicense)", name) and os.path.isfile(os.path.join(folder, name)):
            with open(os.path.join(folder, name), encoding="utf-8", errors="replace") as file:
                yield name, file.read().strip()


def compiled_in():
    """Licence texts of typefaces and scripts, which stand beside them in the source."""
    crates = os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "crates")
    folders = ["app/assets", "app/assets/fonts", "typeface/fonts"]
    folders += ["pdf/fonts"] if "--manifest" in sys.argv else []
    for folder in folders:
        for name in sorted(os.listdir(os.path.join(crates, folder))):
            if "LICEN" in name.upper() or name == "OFL.txt":
                with open(os.path.join(crates, folder, name), encoding="utf-8") as file:
                    yield f"{folder}/{name}", file.read().strip()


def main():
    packages = shipped()
    if "--notices" in sys.argv:
        print("Tubewright contains the packages below, each under its own licence.\n")
        said = {}
        for p in packages:
            print(f"== {p['name']} {p['version']}: {p['license']}  {p.get('repository') or ''}")
            for name, text in texts(p):
                if text in said:
                    print(f"   {name}: as of {said[text]}")
                else:
                    said[text] = f"{p['name']} {p['version']}, {name}"
                    print(f"   {name}:\n\n{text}\n")
        found = list(compiled_in())
        if not found:
            print("No licence of a typeface was found beside it.", file=sys.stderr)
            return 1
        for name, text in found:
            print(f"== {name}\n\n{text}\n")
        return 0
    bad = [p for p in packages if not p["license"] or not allowed(p["license"])]
    counts = {}
    for p in packages:
        counts[p["license"]] = counts.get(p["license"], 0) + 1
    for licence, count in sorted(counts.items(), key=lambda c: (-c[1], str(c[0]))):
        print(f"{count:4}  {licence}")
    for p in bad:
        print(f"NOT IN THE LIST: {p['name']} {p['version']}: {p['license']}. Leave the package out, or read its licence "
              "and add it to the list in packaging/licences.py.", file=sys.stderr)
    return 1 if bad or not packages else 0


if __name__ == "__main__":
    sys.exit(main())
