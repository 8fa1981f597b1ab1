/**
 * Linear equations of a network: the pattern is symmetric and known beforehand, so the elimination order (least
 * degree first, fill counted) and every place it touches are worked out once and then only replayed.
 */
export interface Pattern {
  /** Unknowns. */
  readonly n: number
  /** Stored places; place `size` is a bin for what belongs to the ground node. */
  readonly size: number
  /** Where row, column is stored; ground (index n) goes to the bin. */
  place(row: number, column: number): number
  readonly diagonal: Int32Array
  /** Row and column of each place. */
  readonly rowOf: Int32Array
  readonly columnOf: Int32Array
  readonly order: Int32Array
  /** Per elimination step: its slice of the lists below. */
  readonly from: Int32Array
  readonly node: Int32Array
  readonly below: Int32Array
  readonly right: Int32Array
  readonly target: Int32Array
}

/** `pairs` are the rows and columns that elements couple; ground is index `n` and is left out. */
export function layPattern(n: number, pairs: readonly (readonly [number, number])[]): Pattern {
  const neighbours = Array.from({ length: n }, () => new Set<number>())
  for (const [i, j] of pairs) {
    if (i === j || i >= n || j >= n) continue
    neighbours[i]?.add(j)
    neighbours[j]?.add(i)
  }
  const places = new Map<number, number>()
  const rowOf: number[] = []
  const columnOf: number[] = []
  const place = (row: number, column: number): number => {
    const key = row * n + column
    const known = places.get(key)
    if (known !== undefined) return known
    const next = places.size
    places.set(key, next)
    rowOf.push(row)
    columnOf.push(column)
    return next
  }
  const order: number[] = []
  const from: number[] = [0]
  const node: number[] = []
  const below: number[] = []
  const right: number[] = []
  const target: number[] = []
  const left = new Set(Array.from({ length: n }, (_, i) => i))
  while (left.size > 0) {
    let best = -1
    let least = Infinity
    for (const i of left) {
      const degree = neighbours[i]?.size ?? 0
      if (degree < least) {
        least = degree
        best = i
      }
    }
    left.delete(best)
    order.push(best)
    place(best, best)
    const around = [...(neighbours[best] ?? [])]
    for (const i of around) {
      node.push(i)
      below.push(place(i, best))
      right.push(place(best, i))
    }
    for (const i of around) {
      const its = neighbours[i]
      its?.delete(best)
      for (const j of around) {
        target.push(place(i, j))
        if (i !== j) its?.add(j)
      }
    }
    from.push(node.length)
  }
  const size = places.size
  return {
    n,
    size,
    place: (row, column) => (row >= n || column >= n ? size : (places.get(row * n + column) ?? size)),
    diagonal: Int32Array.from({ length: n }, (_, i) => places.get(i * n + i) ?? size),
    rowOf: Int32Array.from(rowOf),
    columnOf: Int32Array.from(columnOf),
    order: Int32Array.from(order),
    from: Int32Array.from(from),
    node: Int32Array.from(node),
    below: Int32Array.from(below),
    right: Int32Array.from(right),
    target: Int32Array.from(target),
  }
}

/** A pivot below this part of what stood on its diagonal has lost its digits to cancellation. */
const lostPivot = 1e-13

/** Factors `values` in place (diagonal holds the inverses afterwards); false when a pivot has lost its digits. */
export function factor(pattern: Pattern, values: Float64Array): boolean {
  const { n, order, from, below, right, target, diagonal } = pattern
  let t = 0
  for (let step = 0; step < n; step++) {
    const d = diagonal[order[step] ?? 0] ?? 0
    const pivot = values[d] ?? 0
    const start = from[step] ?? 0
    const end = from[step + 1] ?? 0
    let largest = 0
    for (let c = start; c < end; c++) {
      const size = Math.abs(values[below[c] ?? 0] ?? 0)
      if (size > largest) largest = size
    }
    if (!(Math.abs(pivot) > lostPivot * largest) || pivot === 0) return false
    const inverse = 1 / pivot
    values[d] = inverse
    for (let r = start; r < end; r++) {
      const p = below[r] ?? 0
      const l = (values[p] ?? 0) * inverse
      values[p] = l
      if (l === 0) {
        t += end - start
        continue
      }
      for (let c = start; c < end; c++) {
        const at = target[t++] ?? 0
        values[at] = (values[at] ?? 0) - l * (values[right[c] ?? 0] ?? 0)
      }
    }
  }
  return true
}

/** Solves with factored `values`; `b` becomes the solution. */
export function substitute(pattern: Pattern, values: Float64Array, b: Float64Array): void {
  const { n, order, from, node, below, right, diagonal } = pattern
  for (let step = 0; step < n; step++) {
    const known = b[order[step] ?? 0] ?? 0
    if (known === 0) continue
    const end = from[step + 1] ?? 0
    for (let r = from[step] ?? 0; r < end; r++) {
      const i = node[r] ?? 0
      b[i] = (b[i] ?? 0) - (values[below[r] ?? 0] ?? 0) * known
    }
  }
  for (let step = n - 1; step >= 0; step--) {
    const i = order[step] ?? 0
    let sum = b[i] ?? 0
    const end = from[step + 1] ?? 0
    for (let r = from[step] ?? 0; r < end; r++) {
      sum -= (values[right[r] ?? 0] ?? 0) * (b[node[r] ?? 0] ?? 0)
    }
    b[i] = sum * (values[diagonal[i] ?? 0] ?? 0)
  }
}

/** Dense elimination with row pivoting, for the rare matrix whose diagonal will not serve; false when singular. */
export function solveDense(pattern: Pattern, values: Float64Array, b: Float64Array): boolean {
  const { n, rowOf, columnOf } = pattern
  const rows = Array.from({ length: n }, () => new Float64Array(n + 1))
  for (let p = 0; p < pattern.size; p++) {
    const row = rows[rowOf[p] ?? 0]
    if (row !== undefined) row[columnOf[p] ?? 0] = values[p] ?? 0
  }
  for (const [i, row] of rows.entries()) row[n] = b[i] ?? 0
  for (let k = 0; k < n; k++) {
    let best = k
    for (let i = k + 1; i < n; i++) {
      if (Math.abs(rows[i]?.[k] ?? 0) > Math.abs(rows[best]?.[k] ?? 0)) best = i
    }
    const pivot = rows[best]
    const other = rows[k]
    if (pivot === undefined || other === undefined) return false
    const head = pivot[k] ?? 0
    if (head === 0 || !Number.isFinite(head)) return false
    rows[best] = other
    rows[k] = pivot
    for (let i = k + 1; i < n; i++) {
      const row = rows[i]
      if (row === undefined) continue
      const share = (row[k] ?? 0) / head
      if (share === 0) continue
      for (let c = k; c <= n; c++) row[c] = (row[c] ?? 0) - share * (pivot[c] ?? 0)
    }
  }
  for (let i = n - 1; i >= 0; i--) {
    const row = rows[i]
    if (row === undefined) return false
    let sum = row[n] ?? 0
    for (let c = i + 1; c < n; c++) sum -= (row[c] ?? 0) * (b[c] ?? 0)
    b[i] = sum / (row[i] ?? 1)
  }
  return true
}
