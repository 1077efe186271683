"""Many small systems of equations at once, block by block: what the models share is solved once."""

from __future__ import annotations

import numpy as np

from fitting.curve import FloatArray

_BLOCK = 8  # rows solved at once: few enough for the inverse of a block to cost next to nothing


def whitened(root: FloatArray, right: FloatArray) -> FloatArray:
    """L⁻¹ B for lower triangular factors L, shape (q, n, n), and right sides B, shape (q, n, m).

    Forward substitution in blocks of rows, all q at once: with L₁ the rows' part left of the
    diagonal block L₂, W = L₂⁻¹ (B − L₁ W above). (A general solver does not know of the zeros.)
    """
    out = np.array(right)
    for start in range(0, root.shape[1], _BLOCK):
        rows = slice(start, start + _BLOCK)
        if start:
            out[:, rows] -= root[:, rows, :start] @ out[:, :start]
        out[:, rows] = np.linalg.inv(root[:, rows, rows]) @ out[:, rows]
    return out


def inverses(A: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A⁻¹ and ln|A| of symmetric matrices of any scale, shapes (..., p, p) and (...)."""
    scale = np.sqrt(np.einsum("...ii->...i", A))
    both = scale[..., :, None] * scale[..., None, :]
    unit = A / both
    return np.linalg.inv(unit) / both, np.linalg.slogdet(unit)[1] + 2 * np.log(scale).sum(-1)


def bordered(
    inner: FloatArray, cross: FloatArray, own: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Inverse of [[A, C], [Cᵀ, D]] from A⁻¹, and by how much the log determinant grows.

    With g = A⁻¹ C and the 2 × 2 matrix S = D − Cᵀ g the blocks are A⁻¹ + g S⁻¹ gᵀ, −g S⁻¹ and S⁻¹.

    Args:
        inner: A⁻¹, shape (n, b, p, p).
        cross, own: C and D of n pairs of columns, shapes (n, p, 2) and (n, 2, 2).
    """
    gain = inner @ cross[:, None]
    left = own[:, None] - cross.transpose(0, 2, 1)[:, None] @ gain
    det = left[..., 0, 0] * left[..., 1, 1] - left[..., 0, 1] * left[..., 1, 0]
    corner = np.empty_like(left)
    corner[..., 0, 0], corner[..., 1, 1] = left[..., 1, 1], left[..., 0, 0]
    corner[..., 0, 1], corner[..., 1, 0] = -left[..., 0, 1], -left[..., 1, 0]
    corner /= det[..., None, None]
    side = gain @ corner
    p = inner.shape[-1]
    out = np.empty((*det.shape, p + 2, p + 2))
    out[..., :p, :p] = inner + side @ gain.swapaxes(-1, -2)
    out[..., :p, p:] = -side
    out[..., p:, :p] = -side.swapaxes(-1, -2)
    out[..., p:, p:] = corner
    return out, np.log(det)
