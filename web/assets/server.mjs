// What the server's drawing engine runs: ECharts with the parts that the
// charts use, the shapes that Doorleaf adds, and one entry, doorleafDraw.
import * as echarts from 'echarts/core'
import { BarChart, CustomChart, HeatmapChart, LineChart, ScatterChart } from 'echarts/charts'
import {
  GridComponent,
  LegendComponent,
  MarkAreaComponent,
  MarkLineComponent,
  TitleComponent,
  VisualMapComponent,
} from 'echarts/components'
import { SVGRenderer } from 'echarts/renderers'
import { listOf, revive } from './option.mjs'
import { boxBetween } from './shapes.mjs'

echarts.use([
  BarChart, CustomChart, HeatmapChart, LineChart, ScatterChart,
  GridComponent, LegendComponent, MarkAreaComponent, MarkLineComponent, TitleComponent,
  VisualMapComponent, SVGRenderer,
])

// The elements of an option's graphic part, by their type. They stand on the drawing as
// they are: ECharts' own component for them takes a fifth of the time of a heatmap with
// its values.
const elements = {
  text: echarts.graphic.Text,
  rect: echarts.graphic.Rect,
  line: echarts.graphic.Line,
  polygon: echarts.graphic.Polygon,
}

function elementOf({ type, tied, ...rest }) {
  if (!Object.hasOwn(elements, type)) throw new Error(`no element ${JSON.stringify(type)}`)
  return new elements[type](rest)
}

// areasOf measures marks, the parts of the drawing that lead somewhere: a list of
// [x, y, width, height] in pixels for their boxes, [x0, x1, y0, y1] in units of the first
// axes. pad is that of boxBetween.
function areasOf(chart, { links, pad }) {
  const plane = chart.getModel().getComponent('grid').coordinateSystem.getCartesian(0, 0)
  const bands = ['x', 'y'].map((dim) => plane.getAxis(dim).getBandWidth())
  return links.map(({ box: [x0, x1, y0, y1] }) => {
    const { x, y, width, height } = boxBetween(plane.dataToPoint([x0, y0]), plane.dataToPoint([x1, y1]), bands, pad)
    return [x, y, width, height]
  })
}

// Behind the drawing stand the areas of its marks as JSON, where it has any.
globalThis.doorleafDraw = (json, width, height) => {
  const chart = echarts.init(null, null, { renderer: 'svg', ssr: true, width, height })
  try {
    const { marks, graphic, ...option } = revive(JSON.parse(json))
    const surface = chart.getZr()
    for (const g of listOf(graphic)) surface.add(elementOf(g)) // below what the option draws on their level
    chart.setOption(option)
    // chart.renderToSVGString, without its styles for a page that moves
    const svg = surface.painter.renderToString({ cssAnimation: false, cssEmphasis: false })
    return marks === undefined ? svg : svg + JSON.stringify(areasOf(chart, marks))
  } finally {
    chart.dispose()
  }
}
