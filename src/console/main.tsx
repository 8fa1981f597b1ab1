import { render } from 'preact'
import { followLive } from './api/stream.js'
import './live/prefill.js'
import { askWhoIAm } from './live/state.js'
import { App, openAtStart } from './shell/app.js'
import './styles/base.css'
import './styles/shell.css'

const page = document.getElementById('page')
if (page !== null) {
  page.replaceChildren()
  openAtStart()
  render(<App />, page)
  void askWhoIAm()
  followLive()
}
