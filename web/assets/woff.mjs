// Unpacks a WOFF 1.0 file to the TrueType font that it wraps (W3C Recommendation
// WOFF File Format 1.0, 2012, sections 3 to 5; OpenType 1.9, the table directory).
import { inflateSync } from 'node:zlib'

const tablesOf = (woff) =>
  Array.from({ length: woff.readUInt16BE(12) }, (_, i) => {
    const at = 44 + 20 * i
    const [offset, packed, length, checksum] = [4, 8, 12, 16].map((n) => woff.readUInt32BE(at + n))
    const raw = woff.subarray(offset, offset + packed)
    const data = packed < length ? inflateSync(raw) : raw
    if (data.length !== length) throw new Error(`WOFF: table ${i} has ${data.length} bytes, want ${length}`)
    return { tag: woff.subarray(at, at + 4), data, checksum }
  })

export function unpack(woff) {
  if (woff.toString('latin1', 0, 4) !== 'wOFF') throw new Error('not a WOFF file')
  const tables = tablesOf(woff)
  const head = Buffer.alloc(12 + 16 * tables.length)
  const power = Math.floor(Math.log2(tables.length))
  woff.copy(head, 0, 4, 8)
  head.writeUInt16BE(tables.length, 4)
  head.writeUInt16BE(16 * 2 ** power, 6)
  head.writeUInt16BE(power, 8)
  head.writeUInt16BE(16 * (tables.length - 2 ** power), 10)
  const parts = [head]
  let at = head.length
  tables.forEach(({ tag, data, checksum }, i) => {
    tag.copy(head, 12 + 16 * i)
    ;[checksum, at, data.length].forEach((n, k) => head.writeUInt32BE(n, 16 + 16 * i + 4 * k))
    const padding = Buffer.alloc(-data.length & 3)
    parts.push(data, padding)
    at += data.length + padding.length
  })
  return Buffer.concat(parts)
}
