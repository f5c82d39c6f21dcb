"""The API's own description as a page, made on this machine and without any script."""

from __future__ import annotations

import json
from collections.abc import Mapping
from html import escape
from typing import Any

_HEAD = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>API – PoseScore</title>
<link rel="stylesheet" href="/assets/room.css"></head><body>
<main class="room api" style="overflow-wrap: anywhere">"""


def openapi_page(description: Mapping[str, Any]) -> str:
    """HTML of an OpenAPI description: every operation, its parameters, bodies and answers."""
    info = description["info"]
    parts = [
        _HEAD,
        f"<h1>{escape(info['title'])} API {escape(info['version'])}</h1>",
        f"<p>{escape(info['description'])} ",
        'Machine-readable: <a href="/api/openapi.json">/api/openapi.json</a>. '
        'Every refusal is <code>{"error": sentence}</code>. <a href="/">All matches</a></p>',
    ]
    for path, operations in description["paths"].items():
        parts += [
            _operation(f"{method.upper()} {path}", what) for method, what in operations.items()
        ]
    schemas = description.get("components", {}).get("schemas", {})
    parts.append("<section><h2>Shapes</h2></section>")
    parts += [_schema(name, schema) for name, schema in schemas.items()]
    return "".join((*parts, "</main></body></html>"))


def _operation(title: str, what: Mapping[str, Any]) -> str:
    text = [f"<section><h2>{escape(title)}</h2><p>{escape(what.get('description', ''))}</p>"]
    if what.get("parameters"):
        rows = "".join(
            f"<tr><td><code>{escape(one['name'])}</code></td><td>{escape(one['in'])}</td>"
            f"<td>{escape(_type(one['schema']))}</td></tr>"
            for one in what["parameters"]
        )
        head = "<tr><th>Name</th><th>In</th><th>Type</th></tr>"
        text.append(f"<table><thead>{head}</thead><tbody>{rows}</tbody></table>")
    if "requestBody" in what:
        text.append(f"<p>Body: {_content(what['requestBody'])}</p>")
    text += [
        f"<p>{escape(status)}: {escape(answer['description'])} {_content(answer)}</p>"
        for status, answer in what["responses"].items()
    ]
    return "".join((*text, "</section>"))


def _content(holder: Mapping[str, Any]) -> str:
    return ", ".join(
        f"<code>{escape(_type(content.get('schema', {})) or kind)}</code>"
        for kind, content in holder.get("content", {}).items()
    )


def _type(schema: Mapping[str, Any]) -> str:
    if "$ref" in schema:
        return str(schema["$ref"]).rsplit("/", 1)[-1]
    if "anyOf" in schema:
        return " or ".join(_type(one) for one in schema["anyOf"])
    if schema.get("type") == "array":
        return f"list of {_type(schema.get('items', {}))}"
    if "enum" in schema:
        return " | ".join(str(value) for value in schema["enum"])
    return str(schema.get("type", ""))


def _schema(name: str, schema: Mapping[str, Any]) -> str:
    text = json.dumps(schema.get("properties", schema), indent=1, ensure_ascii=False)
    about = escape(schema.get("description", ""))
    return (
        f"<section><details><summary><code>{escape(name)}</code></summary>"
        f"<p>{about}</p><pre>{escape(text)}</pre></details></section>"
    )
