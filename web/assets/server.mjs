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
import { listOf, revive } from './option.mjs'
import { boxOf } from './shapes.mjs'

echarts.use([
  BarChart, CustomChart, HeatmapChart, LineChart, ScatterChart,
  GraphicComponent, GridComponent, LegendComponent, MarkAreaComponent,
  MarkLineComponent, TitleComponent, VisualMapComponent, SVGRenderer,
])

// survey takes out of an option what does not draw anything: marks, the parts of
// the drawing that lead somewhere. Their boxes, [x0, x1, y0, y1] in axis units,
// come back as a list of [x, y, width, height] in pixels, filled in when the
// option is drawn; pad is that of boxOf.
function survey(option) {
  const { marks } = option
  delete option.marks
  if (marks === undefined) return undefined
  const areas = []
  const measure = (params, api) => {
    const { x, y, width, height } = boxOf(api, marks.pad)
    areas[params.dataIndex] = [x, y, width, height]
    return null // nothing to see
  }
  const data = marks.links.map((link) => link.box)
  option.series = [...listOf(option.series), { type: 'custom', silent: true, clip: false, data, encode: { x: [0, 1], y: [2, 3] }, renderItem: measure }]
  return areas
}

// Behind the drawing stand the areas of its marks as JSON, where it has any.
globalThis.doorleafDraw = (json, width, height) => {
  const chart = echarts.init(null, null, { renderer: 'svg', ssr: true, width, height })
  try {
    const option = revive(JSON.parse(json))
    const areas = survey(option)
    chart.setOption(option)
    const svg = chart.renderToSVGString()
    return areas === undefined ? svg : svg + JSON.stringify(areas)
  } finally {
    chart.dispose()
  }
}
