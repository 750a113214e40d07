-- What wrk sends: pages by their share, and forms for the share of writes. Told by LOAD_* variables.
-- Each of wrk's threads sends the forms of jobs of its own, in their order.
local pages, forms, next_form = {}, {}, 0
local share = tonumber(os.getenv("LOAD_WRITES"))
local headers = { ["Cookie"] = os.getenv("LOAD_COOKIE") }
local token = os.getenv("LOAD_TOKEN")
local threads_in_all = tonumber(os.getenv("LOAD_THREADS"))

local function lines(name)
  local found = {}
  for line in io.lines(os.getenv(name)) do found[#found + 1] = line end
  return found
end

local counted, threads = 0, {}
function setup(thread)
  counted = counted + 1
  thread:set("number", counted)
  table.insert(threads, thread)
end

function init(args)
  pages = lines("LOAD_PAGES")
  for _, form in ipairs(lines("LOAD_FORMS")) do
    local job = tonumber(form:match("(%d+)/"))
    if job == nil or job % threads_in_all == number - 1 then forms[#forms + 1] = form end
  end
  -- Numbers of forms differ from run to run: the same one again would write nothing.
  math.randomseed(tonumber(os.getenv("LOAD_SEED")) + number)
  sent = 0
end

local function form_id()
  local digits = {}
  for at = 1, 32 do digits[at] = string.format("%x", math.random(0, 15)) end
  return table.concat(digits)
end

function request()
  if math.random() >= share then
    return wrk.format("GET", pages[math.random(#pages)], headers)
  end
  local path, body = forms[next_form % #forms + 1]:match("^(%S+) (.*)$")
  next_form = next_form + 1
  local sending = { ["Content-Type"] = "application/x-www-form-urlencoded" }
  for key, value in pairs(headers) do sending[key] = value end
  sent = sent + 1
  return wrk.format("POST", path, sending, body .. "&csrf_token=" .. token .. "&form_id=" .. form_id())
end

function done(summary, latency)
  local writes, errors = 0, summary.errors
  for _, thread in ipairs(threads) do writes = writes + thread:get("sent") end
  io.write(string.format(
    '\nJSON {"requests": %d, "seconds": %.3f, "wrong": %d, "broken": %d, "writes": %d, '
    .. '"p50": %.2f, "p95": %.2f, "p99": %.2f, "worst": %.1f}\n',
    summary.requests, summary.duration / 1e6, errors.status,
    errors.connect + errors.read + errors.write + errors.timeout, writes,
    latency:percentile(50) / 1e3, latency:percentile(95) / 1e3, latency:percentile(99) / 1e3,
    latency.max / 1e3))
end
