// What the server's drawing engine runs: ECharts with the parts that the
// charts use, the shapes that Doorleaf adds, and one entry, doorleafDraw.
import * as echarts from 'echarts/core'
import { BarChart, CustomChart, HeatmapChart, LineChart, ScatterChart } from 'echarts/charts'
import {
  GraphicComponent,
  GridComponent,
  LegendComponent,
  MarkAreaComponent,
  MarkLineComponent,
  TitleComponent,
  VisualMapComponent,
} from 'echarts/components'
import { SVGRenderer } from 'echarts/renderers'
import { shapes } from './shapes.mjs'

echarts.use([
  BarChart, CustomChart, HeatmapChart, LineChart, ScatterChart,
  GraphicComponent, GridComponent, LegendComponent, MarkAreaComponent,
  MarkLineComponent, TitleComponent, VisualMapComponent, SVGRenderer,
])

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

const listOf = (x) => (x === undefined ? [] : Array.isArray(x) ? x : [x])

function revive(option) {
  listOf(option.series).forEach(reviveSeries)
  listOf(option.xAxis).forEach(reviveAxis)
  listOf(option.yAxis).forEach(reviveAxis)
  option.animation = false
  return option
}

globalThis.doorleafDraw = (json, width, height) => {
  const chart = echarts.init(null, null, { renderer: 'svg', ssr: true, width, height })
  try {
    chart.setOption(revive(JSON.parse(json)))
    return chart.renderToSVGString()
  } finally {
    chart.dispose()
  }
}
