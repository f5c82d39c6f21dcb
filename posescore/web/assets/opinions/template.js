// The layout of the page of two opinions.

export const template = `
  <div class="room" v-if="shared && clock">
    <header class="bar">
      <a href="/" class="home">PoseScore</a>
      <div class="bar-title"><h1>Second opinion</h1><p><a :href="page">{{ shared.match.title }}</a></p></div>
      <label class="author">Your name <input type="text" v-model.trim="author" @change="nameChanged" @keydown.enter="$event.target.blur()" @keydown.esc="$event.target.blur()" maxlength="60" :placeholder="nameless" autocomplete="off"></label>
      <button type="button" :disabled="!shared.undo || saving" :title="hint('undo')" @click="act('undo')">Undo <kbd v-if="keyOf('undo')">{{ keyOf('undo') }}</kbd></button>
      <button type="button" @click="open = 'keys'" aria-haspopup="dialog">Keys <kbd v-if="keyOf('keys')">{{ keyOf('keys') }}</kbd></button>
    </header>
    <p v-if="trouble" class="trouble" role="alert">{{ trouble }} <button type="button" class="quiet" @click="trouble = ''">Close</button></p>
    <p v-if="shared.read_only" class="apart" role="note">{{ shared.read_only }}</p>

    <section class="opinions" aria-labelledby="who">
      <h2 id="who">Who reviewed this match</h2>
      <ul><li v-for="each in people" :key="each.name"><a :href="each.name ? page + '?opinion=' + encodeURIComponent(each.name) : page">{{ each.text }}</a> <span class="trade">{{ each.done }}</span></li></ul>
      <form class="begin" @submit.prevent="begin"><label>Another, apart from the others: <input type="text" v-model="newName" maxlength="60" placeholder="their name" autocomplete="off" required></label>
        <button type="submit">Start</button></form>
      <div v-if="people.length > 1" class="choose">
        <label class="field">First <select v-model="one" @change="compare"><option v-for="each in people" :key="each.name" :value="each.name" :disabled="each.name === other">{{ each.text }}</option></select></label>
        <label class="field">Second <select v-model="other" @change="compare"><option v-for="each in people" :key="each.name" :value="each.name" :disabled="each.name === one">{{ each.text }}</option></select></label>
      </div>
      <p v-else class="soft">Nobody has reviewed it apart yet. Each of two people starts a review under a name of their own; neither sees what the other decides. Then this page shows where they differ.</p>
    </section>

    <div class="desk of-two" v-if="comparison">
      <div class="watch">
        <footage-stage ref="stage" :footage="shared.footage" :clock="clock" :track="track" :bones="bones" :shown="shown" :rate="rate" :sound="sound" :follows="follows" @view="onView" @silent="onSilent"
          @frame="onFrame" @playing="playing = $event" @trouble="trouble = $event"></footage-stage>
        <play-bar :frame="frame" :playing="playing" :rate="rate" :shown-words="shownWords" :times="times" :follows="follows" :sound="sound" :hint="hint" @act="act"></play-bar>
      </div>
      <aside class="side" aria-label="Agreement and differences">
        <section class="board" aria-label="Agreement"><dl class="numbers">
          <div v-for="number in numbers" :key="number.name"><dt>{{ number.name }}</dt>
            <dd><b class="num">{{ number.kappa === null ? '\u2013' : number.kappa.toFixed(2) }}</b> <span>{{ number.words }}<br><span class="soft">{{ number.beside }}</span></span></dd></div></dl>
          <p class="fine">The numbers are Cohen's kappa: 1 is full agreement, 0 what chance alone would give.</p></section>
        <div class="todo"><p><b class="num">{{ openCount }}</b> of {{ differences.length }} still open</p>
          <button type="button" class="primary" :disabled="!openCount" @click="act('next')">Next that is open <kbd v-if="keyOf('next')">{{ keyOf('next') }}</kbd></button></div>
        <ol class="proposals" aria-label="Differences, in the order of the match">
          <li v-for="(each, i) in differences" :key="each.id" :id="'difference-' + i" class="proposal difference" :class="{selected: i === selected, 'is-settled': each.settled}">
            <button type="button" class="quiet num" @click="select(i)">{{ text(each.time_s) }}</button> <b>{{ each.what }}:</b> {{ each.title }}
            <dl><div><dt>{{ called(one) }}</dt><dd>{{ each.one }} <span v-if="reasonOf(each, 'one')" class="soft">{{ reasonOf(each, 'one') }}</span></dd></div><div><dt>{{ called(other) }}</dt><dd>{{ each.other }} <span v-if="reasonOf(each, 'other')" class="soft">{{ reasonOf(each, 'other') }}</span></dd></div></dl>
            <p v-if="each.settled" class="said">Settled by {{ each.settled.by }} on {{ each.settled.made_at.slice(0, 16).replace('T', ' ') }} UTC:
              {{ each.settled.taken_from === null ? 'as the shared log has it' : 'as ' + called(each.settled.taken_from) + ' has it' }}.</p>
            <div v-if="i === selected && !shared.read_only" class="acts">
              <button type="button" class="primary" :disabled="saving" @click="settle(each, 'one')">As {{ called(one) }} <kbd v-if="keyOf('one')">{{ keyOf('one') }}</kbd></button>
              <button type="button" class="primary" :disabled="saving" @click="settle(each, 'other')">As {{ called(other) }} <kbd v-if="keyOf('other')">{{ keyOf('other') }}</kbd></button>
              <button v-if="one && other" type="button" :disabled="saving" @click="settle(each, 'neither')">As the shared log <kbd v-if="keyOf('neither')">{{ keyOf('neither') }}</kbd></button></div>
            <template v-if="i === selected && each.line"><criterion-list v-if="judged(each)" brief locked :proposal="judged(each)"></criterion-list>
              <p class="facts"><a :href="sheet(each)" target="_blank" rel="noopener">{{ callWords.open }}</a></p></template>
          </li>
          <li v-if="!differences.length" class="empty">They do not differ in anything that both decided.</li>
        </ol>
        <details v-if="waiting.length" class="as-list"><summary>{{ waiting.length }} lines wait for one of them</summary>
          <ul><li v-for="line in waiting" :key="line.line"><button type="button" class="quiet num" @click="seek(line.time_s)">{{ text(line.time_s) }}</button> {{ line.words }}: {{ line.who }}</li></ul></details>
        <p class="fine"><b>{{ callWords.referee }}</b></p>
        <p class="fine">What is settled goes into the shared log, with who settled it and when; both reviews stay as they are.</p>
      </aside>
      <div class="below">
        <div class="below-head"><h2>{{ called(one) }}</h2></div>
        <match-strip :review="reviews.one" :end-s="clock.end" :time-s="frame.time_s" :names="names" :label="'As ' + called(one) + ' has it'" @seek="seek"></match-strip>
        <div class="apart-lane" aria-hidden="true"><span class="soft">differ</span><div>
          <i v-for="bar in bars" :key="bar.key" :class="{settled: bar.settled, selected: bar.index === selected}" :style="bar.style" :title="bar.title" @click="select(bar.index)"></i></div></div>
        <match-strip :review="reviews.other" :end-s="clock.end" :time-s="frame.time_s" :names="names" :label="'As ' + called(other) + ' has it'" @seek="seek"></match-strip>
        <div class="below-head"><h2>{{ called(other) }}</h2></div>
      </div>
    </div>
    <p class="sr" role="status" aria-live="polite" id="said">{{ said }}</p>
    <p v-if="said" class="toast" aria-hidden="true" :key="said">{{ said }}</p>
    <keys-window v-if="open === 'keys'" :keys="keys" @close="open = ''" @changed="keysVersion += 1"></keys-window>
  </div>
  <div class="room waiting" v-else><h1>PoseScore</h1><p v-if="trouble" role="alert">{{ trouble }} <a href="/">All matches</a></p><p v-else>Opening the match\u2026</p></div>
`;
