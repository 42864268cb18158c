// What the server's drawing engine and the browser's charts share: how an option
// that came as JSON becomes one for ECharts.
import { shapes } from './shapes.mjs'

// An option comes as JSON and JSON has no functions. In their place stand
//   renderItem: "NAME"                  a shape of shapes.mjs, or that name as
//                                       go-echarts marks functions: "__f__NAME__f__"
//   axisLabel.words: {"VALUE": "TEXT"}  the label of each axis value; others have none
// and nothing else in an option is ever run.
function reviveSeries(series) {
  if (series.renderItem === undefined) return
  const name = String(series.renderItem).replaceAll('__f__', '')
  if (!Object.hasOwn(shapes, name)) throw new Error(`no shape ${JSON.stringify(name)}`)
  series.renderItem = shapes[name]
}

function reviveAxis(axis) {
  const words = axis.axisLabel?.words
  if (words === undefined) return
  axis.axisLabel.formatter = (value) => (Object.hasOwn(words, value) ? words[value] : '')
}

export const listOf = (x) => (x === undefined ? [] : Array.isArray(x) ? x : [x])

export function revive(option) {
  listOf(option.series).forEach(reviveSeries)
  listOf(option.xAxis).forEach(reviveAxis)
  listOf(option.yAxis).forEach(reviveAxis)
  option.animation = false
  return option
}
