// The shapes that charts draw through ECharts' custom series. Each item's
// value is [x0, x1, y0, y1] in axis units, for a whisker [at, low, high, cut].

// boxBetween is the rectangle between two points in pixels. On a category axis a number
// stands for the middle of its category, and pad (in categories, of w and h pixels) widens
// the box.
export function boxBetween([x0, y0], [x1, y1], [w, h], pad) {
  const padX = pad & 1 ? w / 2 : 0
  const padY = pad & 2 ? h / 2 : 0
  return {
    x: Math.min(x0, x1) - padX,
    y: Math.min(y0, y1) - padY,
    width: Math.abs(x1 - x0) + 2 * padX,
    height: Math.abs(y1 - y0) + 2 * padY,
  }
}

// boxOf is the item's rectangle in pixels; pad is that of boxBetween.
export function boxOf(api, pad = 0) {
  const corner = (x, y) => api.coord([api.value(x), api.value(y)])
  return boxBetween(corner(0, 2), corner(1, 3), api.size([1, 1]), pad)
}

const round = (n) => Math.round(n * 100) / 100

// hatchPath is the part of the lines x + y = k·step that lies in the box. The
// lines are those of the whole picture, so neighbouring boxes join up.
export function hatchPath({ x, y, width, height }, step = 6) {
  const d = []
  for (let c = Math.ceil((x + y) / step) * step; c < x + y + width + height; c += step) {
    const left = Math.max(x, c - y - height)
    const right = Math.min(x + width, c - y)
    if (right - left > 0.5) d.push(`M${round(left)} ${round(c - left)}L${round(right)} ${round(c - right)}`)
  }
  return d.join('')
}

function hatch(api, pad) {
  const box = boxOf(api, pad)
  const stroke = api.visual('color')
  const children = [{ type: 'rect', shape: box, style: { fill: 'none', stroke, lineWidth: 0.5 } }]
  const d = hatchPath(box)
  if (d) children.push({ type: 'path', shape: { pathData: d }, style: { fill: 'none', stroke, lineWidth: 1 } })
  return { type: 'group', children }
}

// whiskers draws the limits low..high of bars at category or value `at`. Where cut is 1
// the upper limit lies outside the axis and its end has no cap. A halo in the series'
// border colour keeps them visible where they cross their bars. The first item draws those
// of all: an element of its own for each takes a tenth of the time of a drawing of bars.
function whiskers({ dataIndexInside, dataInsideLength }, api, upright) {
  if (dataIndexInside > 0) return null
  const cap = Math.min(3, api.size([1, 1])[upright ? 0 : 1] / 4)
  const [dx, dy] = upright ? [cap, 0] : [0, cap]
  const end = ([x, y]) => `M${round(x - dx)} ${round(y - dy)}L${round(x + dx)} ${round(y + dy)}`
  const d = []
  for (let i = 0; i < dataInsideLength; i++) {
    const [at, low, high, cut] = [0, 1, 2, 3].map((k) => api.value(k, i))
    const [from, to] = [low, high].map((v) => api.coord(upright ? [at, v] : [v, at]))
    d.push(`M${from.map(round).join(' ')}L${to.map(round).join(' ')}`)
    if (cap >= 1) d.push(end(from), cut ? '' : end(to))
  }
  const shape = { pathData: d.join('') }
  const line = (stroke, lineWidth) => ({ type: 'path', shape, style: { fill: 'none', stroke, lineWidth } })
  return { type: 'group', children: [line(api.visual('borderColor'), 3), line(api.visual('color'), 1)] }
}

export const shapes = {
  // a filled box on value axes
  block: (_, api) => ({ type: 'rect', shape: boxOf(api), style: { fill: api.visual('color') } }),
  // a hatched box on value axes; -x, -y, -xy: that axis has categories
  hatch: (_, api) => hatch(api, 0),
  'hatch-x': (_, api) => hatch(api, 1),
  'hatch-y': (_, api) => hatch(api, 2),
  'hatch-xy': (_, api) => hatch(api, 3),
  'whisker-up': (params, api) => whiskers(params, api, true),
  'whisker-right': (params, api) => whiskers(params, api, false),
}
