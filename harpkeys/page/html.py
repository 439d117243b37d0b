"""HTML as text: elements, and a document that is whole in itself.

Every text goes through `text` or an attribute of `element`, where it is escaped: nothing out of a score can
become markup. The markup is well-formed XML and conforming HTML at once ("polyglot"), so both kinds of
parsers can check it. A content security policy in the page forbids scripts and anything from elsewhere.

References: HTML Living Standard (WHATWG); "Polyglot Markup" (W3C note); Content Security Policy Level 3.
"""

from __future__ import annotations

from xml.sax.saxutils import quoteattr

from harpkeys.page import svg

_VOID = frozenset({"br", "hr", "link", "meta"})

POLICY = "default-src 'none'; style-src 'unsafe-inline'; font-src data:"
"""Only the style sheet inside the page and the font inside that."""


def text(words: str) -> str:
    """Text that is nothing but text."""
    return svg.escaped(words)


def element(tag: str, *inside: str, **attributes: str | int | None) -> str:
    """An element.

    Args:
        tag: its name.
        inside: finished markup.
        attributes: by name, "_" for "-" and a last "_" left out (`class_`, `aria_label`); None leaves one
            out.
    """
    given = "".join(
        f" {key.rstrip('_').replace('_', '-')}={_value(value)}"
        for key, value in attributes.items()
        if value is not None
    )
    return f"<{tag}{given}/>" if tag in _VOID else f"<{tag}{given}>{''.join(inside)}</{tag}>"


def _value(value: str | int) -> str:
    # Escaped once by svg.escaped would be twice with quoteattr: here only what XML forbids is left out.
    return quoteattr("".join(sign for sign in str(value) if svg.allowed(ord(sign))))


def link(target: str, words: str, *, label: str | None = None) -> str:
    """A link inside the page.

    Args:
        target: the id it leads to.
        words: its text.
        label: what it is called where the text alone does not say.
    """
    return element("a", text(words), href=f"#{target}", aria_label=label)


def listing(items: list[str], *, class_: str | None = None) -> str:
    """A list of points, each finished markup."""
    return element("ul", *(element("li", item) for item in items), class_=class_)


def section(name: str, heading: str, *inside: str, level: int = 2) -> str:
    """A section with its heading.

    Args:
        name: its id.
        heading: text of the heading.
        inside: finished markup.
        level: level of the heading.
    """
    title = element(f"h{level}", text(heading), id=f"{name}-heading")
    return element("section", title, *inside, id=name, aria_labelledby=f"{name}-heading")


def table(
    caption: str,
    header: list[str],
    rows: list[tuple[str | None, list[str]]],
    *,
    class_: str | None = None,
) -> str:
    """A table with a caption and header cells, the first cell of each row its head.

    Args:
        caption: text of the caption.
        header: text of each column's head.
        rows: the id of each row or None, and its cells, finished markup.
        class_: of the table.
    """
    head = element("tr", *(element("th", text(cell), scope="col") for cell in header))
    body = [
        element(
            "tr",
            element("th", cells[0], scope="row"),
            *(element("td", cell) for cell in cells[1:]),
            id=name,
        )
        for name, cells in rows
    ]
    whole = element(
        "table",
        element("caption", text(caption)),
        element("thead", head),
        element("tbody", *body),
        class_=class_,
    )
    return scrolling(caption, whole)


def scrolling(label: str, *inside: str) -> str:
    """What scrolls sideways by itself where the page is narrow, with a name and within reach of the keyboard.

    Args:
        label: its name.
        inside: finished markup.
    """
    return element("div", *inside, class_="scroll", tabindex=0, role="region", aria_label=label)


def document(title: str, style: str, *body: str) -> str:
    """A whole page.

    Args:
        title: its title.
        style: its style sheet, of this program's own making.
        body: finished markup.
    """
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=POLICY),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("title", text(title)),
        element("style", style),
    )
    page = f'<html xmlns="http://www.w3.org/1999/xhtml" lang="en">\n{head}\n'
    return f"<!DOCTYPE html>\n{page}{element('body', *body)}\n</html>\n"
