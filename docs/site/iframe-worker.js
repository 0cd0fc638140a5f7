// Browsers start no worker from a page that lies on the disk. There, search runs in a hidden frame.
if (location.protocol === "file:") {
  window.Worker = class extends EventTarget {
    constructor(address) {
      super()
      this.waiting = []
      const frame = document.createElement("iframe")
      frame.hidden = true
      document.documentElement.appendChild(frame)
      const inside = frame.contentWindow
      const script = frame.contentDocument.createElement("script")
      inside.postMessage = data => this.dispatchEvent(new MessageEvent("message", { data }))
      script.src = address
      script.onload = () => {
        this.inside = inside
        this.waiting.splice(0).forEach(data => this.postMessage(data))
      }
      frame.contentDocument.head.appendChild(script)
    }

    postMessage(data) {
      if (this.inside) this.inside.dispatchEvent(new MessageEvent("message", { data }))
      else this.waiting.push(data)
    }

    terminate() {}
  }
}
