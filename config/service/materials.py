"""What the program is made of, for those who must know: a bill of materials and the licences' texts.

Usage: materials.py TARGET FOLDER [NAME=VERSION=LICENCE[=FILE] …]

Writes FOLDER/tallyjaw.cdx.json (CycloneDX 1.5: each package with version, licence, address and the SHA-256 of its archive in
Cargo.lock, and what needs what) and FOLDER/licences.txt (the texts that come with them). What further arguments name is linked
beside the packages (a C library), with the FILE of its licence. The same Cargo.lock and arguments give the same bytes; nothing is asked of a network, but for
packages that this machine has not fetched yet.

A package that only takes part in the building (a derive, a build script) has the scope `excluded`; all others are in the program.
"""

import hashlib
import json
import pathlib
import re
import subprocess
import sys
import tomllib
import uuid

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
TEXT = re.compile(r"(licen[cs]e|copying|notice|copyright|unlicense)", re.IGNORECASE)


def cargo(*arguments):
    return subprocess.run(["cargo", *arguments], cwd=ROOT, check=True, stdout=subprocess.PIPE, encoding="utf-8").stdout


def tree(target, edges):
    """Names and versions along these edges from the program on; `cargo metadata` would count features that nobody asks for."""
    lines = cargo("tree", "--locked", "--package", "tallyjaw", "--edges", edges, "--prefix", "none", "--format", "{p}", "--target", target)
    return {tuple(line.split(" ")[:2]) for line in lines.splitlines() if line}


def kinds(edge):
    return {kind["kind"] for kind in edge["dep_kinds"]}


def address(package):
    return f"pkg:cargo/{package['name']}@{package['version']}"


def expression(licence):
    return {"expression": licence.replace("/", " OR ")}


def bill(packages, nodes, own, linked, used, digests, beside):
    def component(package, scope):
        name, version = package["name"], package["version"]
        return {
            "type": "library",
            "bom-ref": address(package),
            "name": name,
            "version": version,
            "scope": scope,
            "hashes": [{"alg": "SHA-256", "content": digests[name, version]}],
            "licenses": [expression(package["license"])],
            "purl": address(package),
            **({"externalReferences": [{"type": "vcs", "url": package["repository"]}]} if package["repository"] else {}),
        }

    others = sorted(used - {own}, key=lambda one: address(packages[one]))
    components = [component(packages[one], "required" if one in linked else "excluded") for one in others]
    for name, version, licence, *_ in beside:
        components.append({"type": "library", "bom-ref": f"{name}@{version}", "name": name, "version": version,
                           "scope": "required", "licenses": [expression(licence)]})
    program = packages[own]
    needs = [
        {
            "ref": address(packages[one]),
            "dependsOn": sorted(address(packages[edge["pkg"]]) for edge in nodes[one]["deps"] if kinds(edge) - {"dev"} and edge["pkg"] in used),
        }
        for one in sorted(used, key=lambda one: address(packages[one]))
    ]
    needs[[need["ref"] for need in needs].index(address(program))]["dependsOn"] += [f"{name}@{version}" for name, version, *_ in beside]
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "metadata": {
            "component": {
                "type": "application",
                "bom-ref": address(program),
                "name": program["name"],
                "version": program["version"],
                "licenses": [expression(program["license"])],
                "purl": address(program),
            }
        },
        "components": components,
        "dependencies": needs,
    }


def texts(package):
    """The licences that come with a package, as its author wrote them."""
    folder = pathlib.Path(package["manifest_path"]).parent
    files = sorted(path for path in folder.iterdir() if path.is_file() and TEXT.match(path.name))
    return [path.read_text(encoding="utf-8", errors="replace").strip() for path in files]


def licences(packages, beside):
    """Each text once, under the packages that it came with."""
    under, without = {}, []
    for package in packages:
        name = f"{package['name']} {package['version']} ({package['license']})"
        found = texts(package)
        if not found:
            without.append(name)
        for text in found:
            under.setdefault(text, []).append(name)
    for name, version, licence, *files in beside:
        named = f"{name} {version} ({licence})"
        if not files:
            without.append(named)
        for file in files:
            under.setdefault(pathlib.Path(file).read_text(encoding="utf-8").strip(), []).append(named)
    parts = [", ".join(names) + "\n\n" + text for text, names in sorted(under.items(), key=lambda item: item[1])]
    parts.append("Without a text of their own, under the licence that is named:\n\n" + "\n".join(without))
    return f"\n\n{'-' * 80}\n\n".join(parts) + "\n"


def main():
    target, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    beside = [tuple(each.split("=", 3)) for each in sys.argv[3:]]
    found = json.loads(cargo("metadata", "--locked", "--format-version", "1", "--filter-platform", target))
    packages = {package["id"]: package for package in found["packages"]}
    nodes = {node["id"]: node for node in found["resolve"]["nodes"]}
    own = next(id for id, package in packages.items() if package["name"] == "tallyjaw" and package["source"] is None)
    ids = {(package["name"], "v" + package["version"]): id for id, package in packages.items()}
    linked = {ids[one] for one in tree(target, "normal,no-proc-macro")}
    used = {ids[one] for one in tree(target, "normal,build")}
    lock = tomllib.loads((ROOT / "Cargo.lock").read_text(encoding="utf-8"))
    digests = {(each["name"], each["version"]): each["checksum"] for each in lock["package"] if "checksum" in each}

    document = bill(packages, nodes, own, linked, used, digests, beside)
    text = json.dumps(document, sort_keys=True)
    document["serialNumber"] = f"urn:uuid:{uuid.UUID(bytes=hashlib.sha256(text.encode()).digest()[:16], version=4)}"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "tallyjaw.cdx.json").write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    inside = [packages[one] for one in sorted(linked - {own}, key=lambda one: address(packages[one]))]
    (folder / "licences.txt").write_text(licences(inside, beside), encoding="utf-8")
    print(f"materials: {len(inside) + len(beside)} packages in the program, {len(used) - len(linked)} more that build it")


if __name__ == "__main__":
    main()
