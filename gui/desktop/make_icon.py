"""Draws coldtune.svg: a resonance curve over a coil standing on its ground. The curve is |1/(1 + j u)|."""
import math

turns = "".join(
    f'<path d="M38 {74 + 7 * k} h52" stroke="#b8733a" stroke-width="4.4" stroke-linecap="round"/>\n' for k in range(5)
)
points = []
for k in range(81):
    x = 14 + 100 * k / 80
    u = (x - 64) / 9
    points.append(f"{x:.1f},{60 - 38 / math.hypot(1, u):.2f}")
with open("coldtune.svg", "w") as file:
    file.write(
        '<svg xmlns="http://www.w3.org/2000/svg" width="128" height="128" viewBox="0 0 128 128">\n'
        "<title>coldtune</title>\n"
        '<rect x="4" y="4" width="120" height="120" rx="22" fill="#f3f1ec"/>\n'
        '<rect x="4.75" y="4.75" width="118.5" height="118.5" rx="21.5" fill="none" stroke="#dcd8cf" stroke-width="1.5"/>\n'
        f'<polyline points="{" ".join(points)}" fill="none" stroke="#0b6e6e" stroke-width="5" stroke-linecap="round" '
        'stroke-linejoin="round"/>\n'
        '<path d="M44 71 v34 M84 71 v34" stroke="#e5c9a8" stroke-width="3"/>\n'
        f"{turns}"
        '<path d="M26 112 h76" stroke="#5b6670" stroke-width="4" stroke-linecap="round"/>\n'
        "</svg>\n"
    )
