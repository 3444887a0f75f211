"""An inspector who sees a finished wall piece by piece and knows nothing of how it was laid out."""

from collections import defaultdict

CLOSE = 1e-6


def stretches(pieces):
    """Pieces by (panel, row), and in each row the stretches that meet end to end, from left to right."""
    rows = defaultdict(list)
    for piece in sorted(pieces, key=lambda p: (p.panel, p.row, p.start)):
        row = rows[piece.panel, piece.row]
        if row and abs(row[-1][-1].start + row[-1][-1].length - piece.start) < CLOSE:
            row[-1].append(piece)
        else:
            row.append([piece])
    return rows


def joints(pieces):
    return {at: [p.start for run in row for p in run[1:]] for at, row in stretches(pieces).items()}


def stagger_faults(pieces, least, two_down):
    """Every breach of the rule: joints against all joints of the row below and two below, and short end pieces."""
    faults, found = [], joints(pieces)
    for (panel, row), here in found.items():
        for rows, distance in ((1, least), (2, two_down)):
            for joint in here:
                for other in found.get((panel, row - rows), []):
                    if abs(joint - other) < distance - CLOSE:
                        faults.append((panel, row, joint, row - rows, other))
    for at, row in stretches(pieces).items():
        for run in row:
            if len(run) > 1 and min(run[0].length, run[-1].length) < least - CLOSE:
                faults.append((*at, "end", run[0].length, run[-1].length))
    return faults


def tiling_faults(pieces, runs):
    """Runs that the pieces do not fill from end to end, and pieces that lie in no run."""
    wanted = sorted((r.panel, r.row, r.start, r.end) for r in runs)
    filled = sorted(
        (*at, run[0].start, run[-1].start + run[-1].length) for at, row in stretches(pieces).items() for run in row
    )
    return [
        (want, got)
        for want, got in zip(wanted, filled, strict=True)
        if want[:2] != got[:2] or max(abs(want[2] - got[2]), abs(want[3] - got[3])) > CLOSE
    ]


def carpentry(pieces, planks, kerf):
    """Cut the pieces again one by one, keeping each off-cut's end profiles; returns (planks used, dust, scrap lengths).

    Asserts that each piece has the profiles it needs: the right end wherever another piece follows, the left wherever
    one goes before.
    """
    used, dust, heap = defaultdict(int), 0.0, []
    places = {}
    for row in stretches(pieces).values():
        for run in row:
            places |= {p: (k > 0, k < len(run) - 1) for k, p in enumerate(run)}
    for piece in pieces:
        left, right = places[piece]
        if piece.off_cut:
            fit = [c for c in heap if abs(c[0] - piece.source) < CLOSE and c[1] >= left and c[2] >= right]
            assert fit, f"no off-cut for {piece}"
            source = fit[0]
            heap.remove(source)
        else:
            assert any(abs(piece.source - plank) < CLOSE for plank in planks), f"no such plank for {piece}"
            source = (piece.source, True, True)
            used[round(piece.source, 6)] += 1
        rest = source[0] - piece.length
        assert rest > -CLOSE, f"{piece} is longer than what it is cut from"
        if rest > CLOSE:
            assert not (left and right), f"{piece} needs both profiles, but is cut"
            dust += min(rest, kerf)
            from_left = left or (not right and source[2])  # the piece is the left part: the rest keeps the right end
            if rest > kerf + CLOSE:
                heap.append((rest - kerf, not from_left and source[1], from_left and source[2]))
    return dict(used), dust, [c[0] for c in heap]
