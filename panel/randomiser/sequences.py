"""Starting rows of cyclic squares for odd numbers of samples, found by computer search and checked by test.

A row is written in digits of base 36; its square is the row with 0, 1, ... n - 1 added modulo n. The
differences of neighbours decide the carry-over. No row of an odd cyclic group has every difference once
(Gordon 1961), so:

- the first row has one difference twice, one not at all, and every other once. The two rows of its square in
  which the doubled difference gives one pair are `clash` apart, prime to n, so that every second row of the
  walk by `clash`, up to (n - 1)/2 rows, has no pair twice;
- the first two rows together have every difference twice: two squares balanced as Williams squares are;
- the first, third and fourth together have every difference three times: three balanced squares, where an
  odd number of squares is wanted.

Source: Williams (1949), Australian Journal of Scientific Research 2, 149-168, for the method of differences;
the rows are our own.
"""

from __future__ import annotations

from itertools import pairwise

ROWS: dict[int, tuple[str, str, str, str]] = {
    5: ("02143", "01342", "02314", "01243"),
    7: ("0264351", "0345216", "0325641", "0126435"),
    9: ("038752461", "037456218", "037862541", "021845637"),
    11: ("032946a8571", "0869217345a", "05362a94781", "01265384a79"),
    13: ("046ba83c92571", "0762859ab314c", "0536c94782ba1", "012a3c685497b"),
    15: ("08579c3a64ed2b1", "09c2d5641783bae", "043bec67a528d91", "051789b6a3c42ed"),
    17: ("0a6f425cg7983ebd1", "04bca61f392de587g", "0f728da9c6g3be451", "062d189acg75eb43f"),
    19: ("024h87d59gbe3ca6if1", "0dg9h3451f76cae2b8i", "0756g2f84dai3h9cbe1", "05eci1d9ab82g437f6h"),
    21: (
        "0bj8kfce7a4953gi6dh21",
        "01283bf4jc9g75edia6hk",
        "09dg5i3fka42j67ehcb81",
        "0dh81k796bci4fga5e32j",
    ),
    23: (
        "0lgd5j362i798e4cmafhbk1",
        "071b3j5id4cfghek2l986am",
        "0d93flcghmebi6472akj581",
        "061fmajh4cb5k2iegd3789l",
    ),
    25: (
        "0f36blha4ki28m57ojgn9dce1",
        "0jcfge34l76a5d1bnk28hmi9o",
        "0idlocj6gkb5m8739af42hen1",
        "0g19aoimeb6287cdk4j5hf3ln",
    ),
    27: (
        "08597e6fq2cojpga3hdi4kmlnb1",
        "01f6ilb4e382pkcn59ahgomj7dq",
        "0op32ig84mfadq7bl6cj9n5keh1",
        "0g7jni2ahef86kl3d1mc495boqp",
    ),
    29: (
        "05bljn2pia794g3cesrhk6o8fqmd1",
        "07lb6op9d4q285meakicn3f1hgjrs",
        "0i6jnsrc85ogpbmdkehaq947fl231",
        "01dn2ji93h6sefqmcpko4bg8a75lr",
    ),
    31: (
        "03hqoe9bi5tsk8cp27mdjl6gaurn4f1",
        "0ft86o59ckribspqlhga2m7d34n1eju",
        "0tu6p4f8g7osnkqdi32m5h9crlbeaj1",
        "089sh21mkceqd63u4l5fabo7gripjnt",
    ),
}


def zigzag(samples: int) -> tuple[int, ...]:
    """The row 0, 1, n - 1, 2, n - 2, ... of the Williams square."""
    row = [0]
    for step in range(1, samples):
        row.append((step + 1) // 2 if step % 2 else samples - step // 2)
    return tuple(row)


def starting_rows(samples: int) -> tuple[tuple[int, ...], ...]:
    """Four starting rows for an odd number of samples from 5 to 31, as described above."""
    return tuple(tuple(int(digit, 36) for digit in row) for row in ROWS[samples])


def clash(row: tuple[int, ...]) -> int:
    """How far apart the two rows of the cyclic square are that give one ordered pair twice; 0 for none."""
    n = len(row)
    seen: dict[int, int] = {}
    for previous, following in pairwise(row):
        difference = (following - previous) % n
        if difference in seen:
            return (previous - seen[difference]) % n
        seen[difference] = previous
    return 0
