"""The API's reference: whole, ours, and true to the description that machines read."""

import json
import re
import shlex

from fastapi.testclient import TestClient

from tests.api.pages.sights import words_of


def test_every_operation_stands_in_it_with_its_members_and_refusals(client: TestClient) -> None:
    """Each operation of the description has its section, each status its line, each member its row."""
    document = client.get("/openapi.json").json()
    page = client.get("/reference")
    assert page.status_code == 200
    words = words_of(page.text)
    sections = dict(
        zip(re.findall(r'<section id="([^"]+)"', page.text), page.text.split("<section ")[1:], strict=True)
    )
    count = 0
    for path, item in document["paths"].items():
        for method, described in item.items():
            count += 1
            section = sections[re.sub(r"\W+", "-", f"{method}{path}").strip("-").lower()]
            assert f"<code>{method.upper()} {path}</code>" in section
            for status in described["responses"]:
                assert re.search(rf"(Answers {status}:|<li>{status}:)", section), (method, path, status)
            for schema in (
                c.get("schema", {}) for c in described.get("requestBody", {}).get("content", {}).values()
            ):
                for name in schema.get("properties", {}):
                    assert f"<code>{name}</code>" in section
    assert len(sections) == count
    assert "None" not in words
    assert "$ref" not in page.text


def test_it_loads_nothing_and_has_no_script(client: TestClient) -> None:
    """No script, no address of another host; the framework's own pages, which load from one, are not served."""
    page = client.get("/reference").text
    assert "<script" not in page
    assert set(re.findall(r'(?:src|href)="(https?:)?//', page)) == set()
    assert [client.get(path).status_code for path in ("/docs", "/redoc")] == [404, 404]
    assert 'href="/reference"' in client.get("/cautions").text


def test_every_example_is_a_command_with_json_in_it(client: TestClient) -> None:
    """An example can be pasted into a shell, and its body is JSON that the operation's schema has the members of."""
    page = client.get("/reference").text
    examples = re.findall(r"<pre[^>]*><code>(.*?)</code></pre>", page, re.DOTALL)
    assert len(examples) > 30
    for example in examples:
        words = shlex.split(
            example.replace("&#39;", "'").replace("&#34;", '"').replace("&amp;", "&").replace("\\\n", " ")
        )
        assert words[:2] == ["curl", "-X"]
        if "-d" in words:
            assert json.loads(words[words.index("-d") + 1]) is not None
