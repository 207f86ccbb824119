#include "analyzer/picture/canvas.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace coldtune::picture {

void Canvas::line(Point from, Point to, Color color, float width) {
    const std::array<Point, 2> ends{from, to};
    polyline(ends, color, width);
}

void Canvas::dashed_line(Point from, Point to, Color color, float width, float dash, float gap) {
    const std::array<Point, 2> ends{from, to};
    dashed_polyline(ends, color, width, dash, gap);
}

void Canvas::dashed_polyline(std::span<const Point> points, Color color, float width, float dash, float gap) {
    if (points.size() < 2 || dash <= 0 || gap <= 0) return;
    std::vector<Point> piece{points[0]};
    bool drawing = true;
    float left = dash;  // of the current dash or gap
    for (std::size_t k = 1; k < points.size(); ++k) {
        Point at = points[k - 1];
        const Point to = points[k];
        float length = std::hypot(to.x - at.x, to.y - at.y);
        while (length > left) {
            const float t = left / length;
            at = {at.x + (to.x - at.x) * t, at.y + (to.y - at.y) * t};
            length -= left;
            if (drawing) {
                piece.push_back(at);
                polyline(piece, color, width);
                piece.clear();
            } else {
                piece.assign(1, at);
            }
            drawing = !drawing;
            left = drawing ? dash : gap;
        }
        left -= length;
        if (drawing) piece.push_back(to);
    }
    if (drawing && piece.size() > 1) polyline(piece, color, width);
}

void Canvas::frame(Rect area, Color color, float width) {
    const std::array<Point, 5> corners{Point{area.left, area.top}, Point{area.right, area.top},
                                       Point{area.right, area.bottom}, Point{area.left, area.bottom},
                                       Point{area.left, area.top}};
    polyline(corners, color, width);
}

void Canvas::arrow(Point from, Point to, Color color, float width, float head) {
    line(from, to, color, width);
    const float length = std::hypot(to.x - from.x, to.y - from.y);
    if (length <= 0) return;
    const float ux = (to.x - from.x) / length, uy = (to.y - from.y) / length;
    const Point base{to.x - ux * head, to.y - uy * head};
    const std::array<Point, 3> corners{to, Point{base.x - uy * head * 0.4F, base.y + ux * head * 0.4F},
                                       Point{base.x + uy * head * 0.4F, base.y - ux * head * 0.4F}};
    polygon(corners, color);
}

}  // namespace coldtune::picture
