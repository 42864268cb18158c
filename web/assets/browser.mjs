// What a browser loads when a reader looks closer at a chart: the same ECharts as the
// server draws with, and one entry, show.
import * as echarts from 'echarts/core'
import { BarChart, CustomChart, HeatmapChart, LineChart } from 'echarts/charts'
import { DataZoomInsideComponent, GraphicComponent, GridComponent, TooltipComponent, VisualMapComponent } from 'echarts/components'
import { CanvasRenderer } from 'echarts/renderers'
import { listOf, revive } from './option.mjs'
import { boxOf } from './shapes.mjs'

echarts.use([
  BarChart, CustomChart, HeatmapChart, LineChart,
  DataZoomInsideComponent, GraphicComponent, GridComponent, TooltipComponent, VisualMapComponent, CanvasRenderer,
])

const deepest = 200 // a time axis is magnified so many times at most
const letter = 6.4 // px: room for a letter of an axis label

// dressed is a copy of an option with its colours, which stand for the page's
// variables, as they are now, and its texts in the page's typeface.
function dressed(part, look) {
  if (typeof part === 'string') return look.colours[part] ?? part
  if (Array.isArray(part)) return part.map((p) => dressed(p, look))
  if (part === null || typeof part !== 'object') return part
  const copy = Object.fromEntries(Object.entries(part).map(([k, v]) => [k, dressed(v, look)]))
  if (copy.type === 'text' && copy.style) copy.style.fontFamily = look.font
  return copy
}

// tiedSeries are series of the shapes that the option ties to its time axis: drawn at
// their pixels, they would stay where they are when the axis is magnified.
function tiedSeries(shapes, grid, length, width) {
  const layers = new Map()
  for (const s of shapes) layers.set(s.z, [...(layers.get(s.z) ?? []), s])
  const left = Number(grid.left)
  const right = width - Number(grid.right)
  return [...layers].map(([z, all]) => ({
    type: 'custom', silent: true, z, data: [[0, length]], encode: { x: [0, 1] }, emphasis: { disabled: true },
    renderItem(params, api) {
      const x = (v) => api.coord([((v - left) / (right - left)) * length, 0])[0]
      const inside = (v) => Math.min(Math.max(v, left), right)
      const children = all.map((s) => moved(s, x, inside)).filter(Boolean)
      return { type: 'group', children, clipPath: { type: 'rect', shape: { x: left, y: 0, width: right - left, height: api.getHeight() } } }
    },
  }))
}

function moved(s, x, inside) {
  const { type, style, shape } = s
  if (type === 'rect') {
    const from = inside(x(shape.x))
    const to = inside(x(shape.x + shape.width))
    return to > from && { type, style, shape: { ...shape, x: from, width: to - from } }
  }
  if (type === 'line') return { type, style, shape: { ...shape, x1: x(shape.x1), x2: x(shape.x2) } }
  return { type, style, shape: { points: shape.points.map(([px, py]) => [x(px), py]) } }
}

// tipSeries are the areas that say something: unseen until they are pointed at.
function tipSeries(tips, look) {
  return {
    type: 'custom', name: 'tips', z: 10, clip: true, data: tips.items.map((t) => t.box), encode: { x: [0, 1], y: [2, 3] },
    renderItem(params, api) {
      const tip = tips.items[params.dataIndex]
      return {
        type: 'rect', shape: boxOf(api, tips.pad), style: { fill: 'transparent' }, cursor: tip.href ? 'pointer' : 'default',
        emphasis: { style: { stroke: look.colours['#25221d'], lineWidth: 1.5 } },
      }
    },
  }
}

function tipElement(tip) {
  const box = document.createElement('div')
  const head = document.createElement('strong')
  head.textContent = tip.head
  box.append(head)
  for (const line of tip.says) {
    const p = document.createElement('div')
    p.textContent = line
    box.append(p)
  }
  return box
}

// build turns what the server says of a chart into an option for this browser.
function build(live, look) {
  const option = revive(dressed(live.option, look))
  const graphics = listOf(option.graphic)
  const axis = listOf(option.xAxis)[0]
  option.textStyle = { fontFamily: look.font }
  for (const a of [...listOf(option.xAxis), ...listOf(option.yAxis)]) a.axisLabel = { ...a.axisLabel, lineHeight: 14 }
  const magnified = live.zoom.length > 0
  option.series = listOf(option.series)
  if (magnified) {
    option.series.forEach((s) => { s.clip = true })
    option.graphic = graphics.filter((g) => !g.tied)
    option.series.push(...tiedSeries(graphics.filter((g) => g.tied), listOf(option.grid)[0], axis.max, live.width))
    option.dataZoom = [{ type: 'inside', xAxisIndex: 0, filterMode: 'none', minSpan: 100 / deepest, zoomOnMouseWheel: 'ctrl', moveOnMouseWheel: false, preventDefaultMouseMove: false }]
  }
  option.series.push(tipSeries(live.tips, look))
  option.tooltip = {
    trigger: 'item', confine: true, transitionDuration: 0, className: 'tip', padding: 0, borderWidth: 0, backgroundColor: '', shadowBlur: 0,
    formatter: (p) => tipElement(live.tips.items[p.dataIndex]),
  }
  return option
}

// levelOf chooses the finest labels that have room when the axis, of so many units, is
// drawn in so many px.
function levelOf(levels, units, px) {
  const room = (stops) => stops.length < 2 || Math.min(...stops.slice(1).map((s, i) => s.at - stops[i].at)) * (px / units)
  const need = (stops) => letter * Math.max(...stops.flatMap((s) => s.text.split('\n').map((line) => line.length))) + 12
  // every second label may be hidden by its neighbour
  return levels.findLast((stops) => room(stops) === true || 2 * room(stops) >= need(stops)) ?? levels[0]
}

// show puts a live chart into an element, which it fills: its drawing is laid out as
// the server laid it out and scaled. look has the page's typeface and its colours by
// those of the option; told is called with each tip, and undefined where none is shown.
export function show(element, live, look, told) {
  const stage = document.createElement('div')
  element.append(stage)
  Object.assign(stage.style, { width: `${live.width}px`, height: `${live.height}px`, transformOrigin: '0 0' })
  const scale = () => element.clientWidth / live.width
  const fit = () => { stage.style.transform = `scale(${scale()})` }
  fit()
  const chart = echarts.init(stage, null, { renderer: 'canvas', width: live.width, height: live.height, devicePixelRatio: Math.max(1, devicePixelRatio * scale()) })
  const option = build(live, look)
  const seriesIndex = option.series.length - 1
  const bars = option.series.flatMap((s, i) => (s.type === 'bar' && s.barWidth ? [{ i, width: parseFloat(s.barWidth) }] : []))
  const axis = listOf(option.xAxis)[0]
  const grid = listOf(option.grid)[0]
  const plot = live.width - Number(grid.left) - Number(grid.right)
  const items = live.tips.items
  chart.setOption(option)

  let span = [0, 100] // what is seen of the time axis, hundredths
  let at = -1 // the item whose tip is shown by keys
  const overall = { customValues: axis.axisLabel.customValues, formatter: axis.axisLabel.formatter, ticks: axis.axisTick?.customValues }

  function relabel() {
    const part = (span[1] - span[0]) / 100
    let { customValues, formatter, ticks } = overall
    if (part < 0.99) {
      const stops = levelOf(live.zoom, axis.max * part, plot)
      const words = new Map(stops.map((s) => [s.at, s.text]))
      customValues = ticks = stops.map((s) => s.at)
      formatter = (v) => words.get(v) ?? ''
    }
    const series = option.series.map(() => ({}))
    for (const b of bars) series[b.i] = { barWidth: b.width / part }
    chart.setOption({ xAxis: [{ axisLabel: { customValues, formatter, hideOverlap: part < 0.99 }, axisTick: { customValues: ticks } }], series })
  }

  chart.on('datazoom', () => {
    const { start, end } = chart.getOption().dataZoom[0]
    span = [start, end]
    relabel()
    element.dataset.from = start.toFixed(2)
    element.dataset.to = end.toFixed(2)
  })
  chart.on('mouseover', (p) => { if (p.seriesIndex === seriesIndex) told(items[p.dataIndex]) })
  let tapped = -1
  chart.on('click', (p) => {
    if (p.seriesIndex !== seriesIndex) return
    const { href } = items[p.dataIndex]
    const event = p.event?.event
    const touched = event?.pointerType === 'touch' || event?.type?.startsWith('touch')
    const again = tapped === p.dataIndex
    tapped = p.dataIndex
    if (!href || (touched && !again)) return // the first touch shows the tip
    if (event?.ctrlKey || event?.metaKey) open(href, '_blank', 'noopener')
    else location.assign(href)
  })

  const middle = (b) => [(b[0] + b[1]) / 2, (b[2] + b[3]) / 2]
  const seen = (t) => middle(t.box)[0] * 100 >= span[0] * (axis.max ?? 0) && middle(t.box)[0] * 100 <= span[1] * (axis.max ?? Infinity)

  function point(i) {
    if (at >= 0) chart.dispatchAction({ type: 'downplay', seriesIndex, dataIndex: at })
    at = i
    if (i < 0) {
      chart.dispatchAction({ type: 'hideTip' })
      told(undefined)
      return
    }
    chart.dispatchAction({ type: 'highlight', seriesIndex, dataIndex: i })
    chart.dispatchAction({ type: 'showTip', seriesIndex, dataIndex: i })
    told(items[i])
  }

  // step goes to the nearest item in a direction, and else to the next or last in order.
  function step(dx, dy) {
    if (at < 0) return point(Math.max(0, items.findIndex(seen)))
    const [x, y] = middle(items[at].box)
    let best = -1
    let least = Infinity
    items.forEach((t, i) => {
      const [tx, ty] = middle(t.box)
      const along = (tx - x) * dx + (ty - y) * dy
      const aside = Math.abs((tx - x) * dy) + Math.abs((ty - y) * dx)
      if (along > 0 && aside < 0.01 && along < least && seen(t)) { best = i; least = along }
    })
    if (best < 0) best = at + dx + dy
    if (items[best] && seen(items[best])) point(best)
  }

  function zoom(by) {
    if (live.zoom.length === 0) return
    const middleOf = at >= 0 && seen(items[at]) ? (middle(items[at].box)[0] / axis.max) * 100 : (span[0] + span[1]) / 2
    const wide = Math.min(100, Math.max(100 / deepest, (span[1] - span[0]) * by))
    const start = Math.min(Math.max(0, middleOf - wide / 2), 100 - wide)
    chart.dispatchAction({ type: 'dataZoom', dataZoomIndex: 0, start, end: start + wide })
    if (at >= 0) point(seen(items[at]) ? at : -1)
  }

  const keys = {
    ArrowRight: () => step(1, 0), ArrowLeft: () => step(-1, 0), ArrowDown: () => step(0, 1), ArrowUp: () => step(0, -1),
    Home: () => point(items.findIndex(seen)), End: () => point(items.findLastIndex(seen)),
    '+': () => zoom(0.5), '=': () => zoom(0.5), '-': () => zoom(2), 0: () => zoom(Infinity),
    Enter: () => { if (items[at]?.href) location.assign(items[at].href) },
  }
  const watch = new ResizeObserver(fit)
  watch.observe(element)
  return {
    // press does what a key asks for and says whether it knows it.
    press(key) {
      if (!Object.hasOwn(keys, key)) return false
      keys[key]()
      return true
    },
    end() {
      watch.disconnect()
      chart.dispose()
      stage.remove()
    },
  }
}
