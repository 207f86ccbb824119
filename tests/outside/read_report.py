"""What other readers find in a report: Python's html.parser (as a browser would read it) and its XML parser (stricter).
Prints one JSON object: the elements used, every attribute that could reach outside or run, identifiers given twice, the
text of the headings and the rows of the tables."""
import collections
import html.parser
import json
import sys
import xml.etree.ElementTree

with open(sys.argv[1], encoding="utf-8", errors="strict") as file:
    text = file.read()


class Reader(html.parser.HTMLParser):
    VOID = {"meta", "br"}

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.unbalanced = [], []
        self.elements, self.ids = collections.Counter(), collections.Counter()
        self.reaching, self.headings, self.rows, self.style = [], [], [], ""

    def handle_starttag(self, tag, attributes):
        self.elements[tag] += 1
        for name, value in attributes:
            if name == "id":
                self.ids[value] += 1
            reaches = name in ("href", "src", "data", "action", "srcset", "xlink:href", "background", "poster")
            reaches = reaches or name.startswith("on") or "javascript:" in (value or "")
            if reaches or ("url(" in (value or "") and "url(#" not in value):
                self.reaching.append([tag, name, value])
        if tag in ("h1", "h2", "h3"):
            self.headings.append("")
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th") and self.rows:
            self.rows[-1].append("")
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.unbalanced.append(tag)

    def handle_data(self, data):
        if not self.open:
            return
        if self.open[-1] in ("h1", "h2", "h3"):
            self.headings[-1] += data
        if self.open[-1] == "style":
            self.style += data
        if "td" in self.open or "th" in self.open:
            self.rows[-1][-1] += data


reader = Reader()
reader.feed(text)
reader.close()
xml.etree.ElementTree.fromstring(text.encode("utf-8"))  # raises where it is not well-formed
print(
    json.dumps(
        {
            "unbalanced": reader.unbalanced + reader.open,
            "elements": reader.elements,
            "reaching": reader.reaching,
            "repeated_ids": [name for name, count in reader.ids.items() if count > 1],
            "headings": reader.headings,
            "rows": reader.rows,
            "style_reaches": "url(" in reader.style or "@import" in reader.style,
            "style_braces": reader.style.count("{") - reader.style.count("}"),
        }
    )
)
