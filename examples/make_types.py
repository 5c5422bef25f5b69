#!/usr/bin/env python3
"""Makes types of a schema, for Python (TypedDict) or TypeScript, so that a type checker sees a misspelled field.

Run it:   tallyjaw schema feed | python3 examples/make_types.py python > examples/tallyjaw_feed.py
          tallyjaw schema feed | python3 examples/make_types.py typescript > examples/tallyjaw_feed.ts
Needs:    Python 3.9 and nothing else; what it makes for Python needs 3.11.

A field that the schema does not require may be missing. Fields may be added within a version, so make the types again
when you want to use a new one.
"""

import json
import re
import sys

PYTHON = {"string": "str", "integer": "int", "number": "float", "boolean": "bool", "null": "None", None: "object"}
SCRIPT = {"string": "string", "integer": "number", "number": "number", "boolean": "boolean", "null": "null", None: "unknown"}


class Types:
    """All types of a schema, in the order in which they are met."""

    def __init__(self, schema, language):
        self.whole, self.python, self.made = schema, language == "python", {}
        self.plain = PYTHON if self.python else SCRIPT
        self.root = self.name(re.sub(r"^.*:", "", schema["$id"]))
        self.made_of(schema, self.root)

    @staticmethod
    def name(words):
        return "".join(word[:1].upper() + word[1:] for word in re.split(r"[^A-Za-z0-9]+", words))

    def definition(self, path):
        schema = self.whole
        for key in path.removeprefix("#/").split("/"):
            schema = schema[int(key)] if isinstance(schema, list) else schema[key]
        return schema

    def merged(self, schema):
        """The fields of an object: its own, and those of what it refers to; and which are required."""
        fields, required = {}, set()
        for part in [self.definition(schema["$ref"])] if "$ref" in schema else schema.get("allOf", []):
            more, needed = self.merged(part)
            fields.update(more)
            required |= needed
        fields.update(schema.get("properties", {}))
        fields = {key: field for key, field in fields.items() if field is not False}  # false: it may not be there
        return fields, required | set(schema.get("required", []))

    def one_of(self, types):
        types = list(dict.fromkeys(types))
        return types[0] if len(types) == 1 else f"Union[{', '.join(types)}]" if self.python else " | ".join(types)

    def words(self, values):
        values = ", ".join(map(json.dumps, values)) if self.python else " | ".join(map(json.dumps, values))
        return f"Literal[{values}]" if self.python else values

    def of(self, schema, name, base=None):
        """The type of a schema; an object gets a name of its own. `base` has fields of every member of a union."""
        if schema is True or schema == {}:
            return self.plain[None]
        if "$ref" in schema and not (base or schema.keys() & {"properties"}):
            return self.referred(schema["$ref"])
        for key in ("oneOf", "anyOf"):
            if key in schema:
                own = {"properties": schema.get("properties", {}), "required": schema.get("required", [])}
                fields, needed = self.merged({"allOf": [base or {}, own]})
                inner = {"properties": fields, "required": sorted(needed)} if fields else None
                return self.one_of([self.of(part, self.part_name(part, name, at), inner) for at, part in enumerate(schema[key])])
        if "const" in schema or "enum" in schema:
            return self.words([schema["const"]] if "const" in schema else schema["enum"])
        if isinstance(schema.get("type"), list):
            return self.one_of([self.of({**schema, "type": kind}, name) for kind in schema["type"]])
        if schema.get("type") == "array":
            item = self.of(schema.get("items", {}), name + "Item")
            return f"List[{item}]" if self.python else f"({item})[]"
        fields, required = self.merged({"allOf": [base or {}, schema]})
        if fields:
            self.made.setdefault(name, None)  # it may contain itself
            self.made[name] = self.object(fields, required, name)
            return self.quoted(name)
        if schema.get("type") == "object":
            value = self.of(schema.get("additionalProperties") or {}, name + "Value")
            return f"Dict[str, {value}]" if self.python else f"Record<string, {value}>"
        return self.plain[schema.get("type")]

    def part_name(self, part, name, at):
        kind = part.get("properties", {}).get("kind", {})
        word = part.get("title") or kind.get("const") or (kind.get("enum") or [None])[0] or part.get("required", [str(at + 1)])[0]
        return self.name(word) + name

    def referred(self, path):
        name = self.name(path.rsplit("/", 1)[1])
        name = name if name.isidentifier() and not path.startswith("#/anyOf") else self.name(path)
        name = name + "Type" if name == self.root else name
        if name not in self.made:
            self.made_of(self.definition(path), name)
        return self.quoted(name)

    def made_of(self, schema, name):
        self.made[name] = None
        made = self.of(schema, name)
        if made != self.quoted(name):  # an object stands under its name already
            self.made[name] = made

    def quoted(self, name):
        return f'"{name}"' if self.python else name

    def object(self, fields, required, name):
        lines = []
        for key, field in fields.items():
            kind = self.of(field, name + self.name(key))
            if self.python:
                lines.append(f"    {json.dumps(key)}: {kind if key in required else f'NotRequired[{kind}]'},")
            else:
                lines.append(f"  {json.dumps(key)}{'' if key in required else '?'}: {kind};")
        return "{\n" + "\n".join(lines) + "\n}"

    def text(self):
        title = f"{self.whole['title']}. Made by make_types.py of $id {self.whole['$id']}; do not edit"
        if self.python:
            lines = [f'"""{title}."""', "", "from typing import Dict, List, Literal, NotRequired, TypedDict, Union", ""]
        else:
            lines = [f"// {title}.", ""]
        for name, made in sorted(self.made.items(), key=lambda item: (not (item[1] or "").startswith("{"), item[0] == self.root)):
            if self.python:
                lines.append(f'{name} = TypedDict("{name}", {made})' if made.startswith("{") else f"{name} = {made}")
            else:
                lines.append(f"export type {name} = {made};")
        return "\n".join(lines) + "\n"


if __name__ == "__main__":
    if sys.argv[1:] not in (["python"], ["typescript"]):
        sys.exit("usage: tallyjaw schema NAME | make_types.py python|typescript")
    sys.stdout.write(Types(json.load(sys.stdin), sys.argv[1]).text())
