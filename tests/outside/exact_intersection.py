"""Whether two triangles intersect, slowly: in whole numbers, by clipping one with the other.

The points in common of two triangles form a convex polygon, perhaps a segment, a point or nothing. They intersect if
it sticks out of what they share by index. Shares no step with the program, which looks at signs of determinants only.
"""


def in_whole_numbers(points):
    """The coordinates, all scaled by one power of two; exact."""
    ratios = [[float(c).as_integer_ratio() for c in p] for p in points]
    scale = max(below for p in ratios for _, below in p)
    return [tuple(above * (scale // below) for above, below in p) for p in ratios]


def dot(a, b):
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a, b):
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def minus(a, b):
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def half_spaces(t):
    """(normal, offset) pairs: the hull of the three points is where normal . x <= offset for all."""
    a, b, c = t
    normal = cross(minus(b, a), minus(c, a))
    found = []

    def on_plane(n, p):
        found.append((n, dot(n, p)))
        found.append((tuple(-x for x in n), -dot(n, p)))

    if any(normal):
        on_plane(normal, a)
        for p, q in ((a, b), (b, c), (c, a)):
            outward = cross(minus(q, p), normal)
            found.append((outward, dot(outward, p)))
        return found
    # On one line: the two that are farthest apart are the ends.
    p, q = max(((a, b), (b, c), (c, a)), key=lambda e: dot(minus(e[1], e[0]), minus(e[1], e[0])))
    way = minus(q, p)
    if not any(way):
        for axis in ((1, 0, 0), (0, 1, 0), (0, 0, 1)):
            on_plane(axis, p)
        return found
    for axis in ((1, 0, 0), (0, 1, 0), (0, 0, 1)):
        if any(cross(way, axis)):
            on_plane(cross(way, axis), p)
    found.append((way, dot(way, q)))
    found.append((tuple(-x for x in way), -dot(way, p)))
    return found


def clipped(polygon, normal, offset):
    """What of a polygon lies in a half-space. Points are (x, y, z, w) with w above 0, standing for (x, y, z) / w."""
    sides = [dot(normal, p) - offset * p[3] for p in polygon]
    kept = []
    for i, (p, s) in enumerate(zip(polygon, sides)):
        q, r = polygon[i - 1], sides[i - 1]
        if (s > 0 > r) or (s < 0 < r):
            a, b = abs(r), abs(s)
            kept.append(tuple(b * x + a * y for x, y in zip(q, p)))
        if s <= 0:
            kept.append(p)
    return kept


def in_common(a, b):
    polygon = [(*p, 1) for p in a]
    for normal, offset in half_spaces(b):
        polygon = clipped(polygon, normal, offset)
    return polygon


def intersect(points, t, u):
    """`points` in whole numbers; `t` and `u` three indices each."""
    if set(t) == set(u) and len(set(t)) == 3:
        return True
    a, b = [points[i] for i in t], [points[i] for i in u]
    shared = sorted({points[i] for i in t if i in set(u)})
    polygon = in_common(a, b)
    if not shared:
        return bool(polygon)
    hull = half_spaces((shared * 3)[:3] if len(shared) != 2 else (shared[0], shared[1], shared[1]))
    return any(dot(n, p) > offset * p[3] for p in polygon for n, offset in hull)
